import { handOver } from '../handOver.ts'
import { createCanvasPen } from './canvasPen.ts'
import { type ChartPicture, drawChartPicture, pictureHeight, pictureWidth } from './chartPicture.ts'
import { chartSvg, fileName } from './chartSvg.ts'

export type PictureKind = 'png' | 'svg'

/** Pixels of a PNG for each CSS pixel: at a hand's width more than 150 a inch. */
const pngScale = 2

async function chartPng(picture: ChartPicture): Promise<Blob> {
  const canvas = document.createElement('canvas')
  canvas.width = pictureWidth * pngScale
  canvas.height = pictureHeight * pngScale
  const ctx = canvas.getContext('2d')
  if (!ctx) throw new Error('this browser cannot draw pictures')
  drawChartPicture(createCanvasPen(ctx, pngScale), picture)
  return await new Promise((resolve, reject) => {
    canvas.toBlob(
      (blob) => (blob ? resolve(blob) : reject(new Error('the picture could not be made'))),
      'image/png',
    )
  })
}

/** Hands the picture to the browser as a file. */
export async function savePicture(kind: PictureKind, picture: ChartPicture): Promise<void> {
  const blob =
    kind === 'png' ? await chartPng(picture) : new Blob([chartSvg(picture)], { type: 'image/svg+xml' })
  handOver(blob, `${fileName(`${picture.origin} ${picture.title}`)}.${kind}`)
}
