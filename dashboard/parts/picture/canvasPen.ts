import { type PicturePen, pictureFont } from './picturePen.ts'

/** A pen that paints on a canvas, which must be `scale` times as large as the picture. */
export function createCanvasPen(ctx: CanvasRenderingContext2D, scale: number): PicturePen {
  ctx.setTransform(scale, 0, 0, scale, 0, 0)
  ctx.lineJoin = 'round'
  return {
    rect(x, y, width, height, fill) {
      ctx.fillStyle = fill
      ctx.fillRect(x, y, width, height)
    },
    line(points, stroke, width, dash = []) {
      ctx.strokeStyle = stroke
      ctx.lineWidth = width
      ctx.setLineDash([...dash])
      trace(ctx, points)
      ctx.stroke()
    },
    area(corners, fill) {
      ctx.fillStyle = fill
      trace(ctx, corners)
      ctx.fill()
    },
    dot(x, y, radius, fill) {
      ctx.fillStyle = fill
      ctx.beginPath()
      ctx.arc(x, y, radius, 0, 2 * Math.PI)
      ctx.fill()
    },
    text(x, y, text, { size, fill, weight = 400, anchor = 'start', isUpright }) {
      ctx.save()
      ctx.translate(x, y)
      if (isUpright) ctx.rotate(-Math.PI / 2)
      ctx.font = `${weight} ${size}px ${pictureFont}`
      ctx.fillStyle = fill
      ctx.textAlign = anchor === 'middle' ? 'center' : anchor
      ctx.fillText(text, 0, 0)
      ctx.restore()
    },
    clip(x, y, width, height) {
      ctx.save()
      ctx.beginPath()
      ctx.rect(x, y, width, height)
      ctx.clip()
    },
    unclip: () => ctx.restore(),
  }
}

function trace(ctx: CanvasRenderingContext2D, points: readonly number[]): void {
  ctx.beginPath()
  for (let i = 0; i < points.length; i += 2) {
    if (i === 0) ctx.moveTo(points[i], points[i + 1])
    else ctx.lineTo(points[i], points[i + 1])
  }
}
