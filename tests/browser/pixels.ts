import type { Page } from 'playwright'

/** Linear light of a picture, 0…1, as red, green and blue planes. */
export interface Picture {
  width: number
  height: number
  /** sRGB bytes, four a pixel. */
  rgba: Uint8Array
}

/** Decodes a screenshot by the browser's own decoder, on a blank page. */
export async function decodePng(blank: Page, png: Buffer): Promise<Picture> {
  const decoded = await blank.evaluate(async (base64) => {
    const bytes = Uint8Array.from(atob(base64), (c) => c.charCodeAt(0))
    const bitmap = await createImageBitmap(new Blob([bytes], { type: 'image/png' }))
    const canvas = new OffscreenCanvas(bitmap.width, bitmap.height)
    const brush = canvas.getContext('2d')!
    brush.drawImage(bitmap, 0, 0)
    const { data } = brush.getImageData(0, 0, bitmap.width, bitmap.height)
    let text = ''
    for (let i = 0; i < data.length; i += 32768) text += String.fromCharCode(...data.subarray(i, i + 32768))
    return { width: bitmap.width, height: bitmap.height, base64: btoa(text) }
  }, png.toString('base64'))
  return { width: decoded.width, height: decoded.height, rgba: Buffer.from(decoded.base64, 'base64') }
}

const linear = Float64Array.from({ length: 256 }, (_, byte) => {
  const share = byte / 255
  return share <= 0.04045 ? share / 12.92 : ((share + 0.055) / 1.055) ** 2.4
})

/** Relative luminance (WCAG) of each pixel. */
export function luminance({ rgba }: Picture): Float64Array {
  const light = new Float64Array(rgba.length / 4)
  for (let i = 0; i < light.length; i++) {
    light[i] =
      0.2126 * linear[rgba[4 * i]] + 0.7152 * linear[rgba[4 * i + 1]] + 0.0722 * linear[rgba[4 * i + 2]]
  }
  return light
}

/** Machado, Oliveira, Fernandes 2009, severity 1.0, on linear light. */
const blindness: Readonly<Record<'red' | 'green', readonly number[]>> = {
  red: [0.152286, 1.052583, -0.204868, 0.114503, 0.786281, 0.099216, -0.003882, -0.048116, 1.051998],
  green: [0.367322, 0.860646, -0.227968, 0.280085, 0.672501, 0.047413, -0.01182, 0.04294, 0.968881],
}

export type Eye = 'grey' | 'red-blind' | 'green-blind'

/** Three linear planes as such an eye sees them. */
export function seenBy({ rgba }: Picture, eye: Eye): Float64Array[] {
  const count = rgba.length / 4
  const planes = [new Float64Array(count), new Float64Array(count), new Float64Array(count)]
  const matrix = eye === 'red-blind' ? blindness.red : eye === 'green-blind' ? blindness.green : undefined
  for (let i = 0; i < count; i++) {
    const r = linear[rgba[4 * i]]
    const g = linear[rgba[4 * i + 1]]
    const b = linear[rgba[4 * i + 2]]
    for (let p = 0; p < 3; p++) {
      planes[p][i] = matrix
        ? matrix[3 * p] * r + matrix[3 * p + 1] * g + matrix[3 * p + 2] * b
        : 0.2126 * r + 0.7152 * g + 0.0722 * b
    }
  }
  return planes
}

/** How far the two pictures differ inside a box: share of its height and width that hold differing pixels, for that eye. */
export function difference(
  a: Picture,
  b: Picture,
  box: { x: number; y: number; width: number; height: number },
  eye: Eye,
): { heightShare: number; widthShare: number } {
  const one = seenBy(a, eye)
  const two = seenBy(b, eye)
  let top = Number.POSITIVE_INFINITY
  let bottom = Number.NEGATIVE_INFINITY
  let left = Number.POSITIVE_INFINITY
  let right = Number.NEGATIVE_INFINITY
  for (let y = Math.round(box.y); y < box.y + box.height; y++) {
    for (let x = Math.round(box.x); x < box.x + box.width; x++) {
      const i = y * a.width + x
      const apart =
        Math.abs(one[0][i] - two[0][i]) + Math.abs(one[1][i] - two[1][i]) + Math.abs(one[2][i] - two[2][i])
      if (apart < 0.06) continue
      top = Math.min(top, y)
      bottom = Math.max(bottom, y)
      left = Math.min(left, x)
      right = Math.max(right, x)
    }
  }
  if (bottom < top) return { heightShare: 0, widthShare: 0 }
  return { heightShare: (bottom - top + 1) / box.height, widthShare: (right - left + 1) / box.width }
}

/** Contrast of two colours as the browser gives them, `rgb(…)`, by the WCAG formula. */
export function contrast(a: string, b: string): number {
  const light = (colour: string) => {
    const [r, g, bl] = (colour.match(/[\d.]+/g) ?? []).map((part) => {
      const share = Number(part) / 255
      return share <= 0.04045 ? share / 12.92 : ((share + 0.055) / 1.055) ** 2.4
    })
    return 0.2126 * r + 0.7152 * g + 0.0722 * bl
  }
  const [dark, bright] = [light(a), light(b)].sort((x, y) => x - y)
  return (bright + 0.05) / (dark + 0.05)
}
