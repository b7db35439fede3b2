import { type PicturePen, pictureFont } from './picturePen.ts'

/** A pen that writes SVG 1.1: strokes and words stay what they are in any drawing program. */
export function createSvgPen(
  width: number,
  height: number,
  { title, description }: { title: string; description: string },
): PicturePen & { end(): string } {
  const parts: string[] = []
  let clips = 0
  const put = (part: string) => parts.push(part)
  return {
    rect: (x, y, w, h, fill) =>
      put(`<rect x="${n(x)}" y="${n(y)}" width="${n(w)}" height="${n(h)}" fill="${fill}"/>`),
    line(points, stroke, strokeWidth, dash) {
      const d = pathOf(points)
      const dashes = dash?.length ? ` stroke-dasharray="${dash.join(' ')}"` : ''
      put(
        `<path d="${d}" fill="none" stroke="${stroke}" stroke-width="${n(strokeWidth)}"${dashes} stroke-linejoin="round"/>`,
      )
    },
    area: (corners, fill) => put(`<path d="${pathOf(corners)}Z" fill="${fill}"/>`),
    dot: (x, y, radius, fill) => put(`<circle cx="${n(x)}" cy="${n(y)}" r="${n(radius)}" fill="${fill}"/>`),
    text(x, y, text, { size, fill, weight = 400, anchor = 'start', isUpright }) {
      const turn = isUpright ? ` transform="rotate(-90 ${n(x)} ${n(y)})"` : ''
      put(
        `<text x="${n(x)}" y="${n(y)}" font-size="${size}" font-weight="${weight}" text-anchor="${anchor}" fill="${fill}"${turn}>${escapeXml(text)}</text>`,
      )
    },
    clip(x, y, w, h) {
      clips++
      put(
        `<clipPath id="c${clips}"><rect x="${n(x)}" y="${n(y)}" width="${n(w)}" height="${n(h)}"/></clipPath><g clip-path="url(#c${clips})">`,
      )
    },
    unclip: () => put('</g>'),
    end: () =>
      [
        '<?xml version="1.0" encoding="UTF-8"?>',
        `<svg xmlns="http://www.w3.org/2000/svg" width="${width}" height="${height}" viewBox="0 0 ${width} ${height}" role="img" font-family="${pictureFont}">`,
        `<title>${escapeXml(title)}</title>`,
        `<desc>${escapeXml(description)}</desc>`,
        ...parts,
        '</svg>',
        '',
      ].join('\n'),
  }
}

function pathOf(points: readonly number[]): string {
  let d = ''
  for (let i = 0; i < points.length; i += 2) d += `${i === 0 ? 'M' : 'L'}${n(points[i])} ${n(points[i + 1])}`
  return d
}

/** Hundredths of a pixel are finer than any printer. */
function n(value: number): string {
  return String(Math.round(value * 100) / 100)
}

function escapeXml(text: string): string {
  let plain = ''
  // Control characters are not allowed in XML at all.
  for (const character of text) if (character >= ' ') plain += character
  return plain
    .replaceAll('&', '&amp;')
    .replaceAll('<', '&lt;')
    .replaceAll('>', '&gt;')
    .replaceAll('"', '&quot;')
}
