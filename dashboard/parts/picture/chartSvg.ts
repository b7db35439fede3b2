import { type ChartPicture, drawChartPicture, pictureHeight, pictureWidth } from './chartPicture.ts'
import { createSvgPen } from './svgPen.ts'

/** The chart as an SVG document. */
export function chartSvg(picture: ChartPicture): string {
  const pen = createSvgPen(pictureWidth, pictureHeight, {
    title: `${picture.title}, ${picture.origin}`,
    description: picture.finding,
  })
  drawChartPicture(pen, picture)
  return pen.end()
}

/** No colon and nothing else that a file system might refuse. */
export function fileName(text: string): string {
  return (
    text
      .normalize('NFC')
      .replaceAll('λ', 'lambda')
      .replaceAll(/[^\p{L}\p{N}.]+/gu, '-')
      .replaceAll(/^-+|-+$/g, '')
      .slice(0, 80) || 'chart'
  )
}
