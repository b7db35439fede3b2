/** What fingers on a chart do. */
export interface ChartTouch {
  /** Units of x under one CSS pixel, 0 while nothing is drawn. */
  unitsPerPixel(): number
  /** Moves the view by so many units of x. */
  move(by: number): void
  /** Below 1 for a closer look. */
  zoom(factor: number): void
}

/** Nearer than so many CSS pixels two fingers would zoom without measure; one step zooms by so much at most. */
const leastApartPx = 20
const mostZoom = 2

/** One finger moves the view, two fingers zoom it; up and down still scrolls the page. Returns what ends it. */
export function followTouch(node: HTMLElement, touch: ChartTouch): () => void {
  const fingers = new Map<number, number>()
  const down = (event: PointerEvent) => {
    if (event.pointerType === 'touch') fingers.set(event.pointerId, event.clientX)
  }
  const move = (event: PointerEvent) => {
    const before = fingers.get(event.pointerId)
    if (before === undefined) return
    if (fingers.size === 1) touch.move((before - event.clientX) * touch.unitsPerPixel())
    else {
      const other = [...fingers.entries()].find(([key]) => key !== event.pointerId)?.[1] ?? before
      const factor = Math.abs(before - other) / Math.max(leastApartPx, Math.abs(event.clientX - other))
      touch.zoom(Math.min(mostZoom, Math.max(1 / mostZoom, factor)))
    }
    fingers.set(event.pointerId, event.clientX)
  }
  const up = (event: PointerEvent) => fingers.delete(event.pointerId)
  node.addEventListener('pointerdown', down)
  node.addEventListener('pointermove', move)
  node.addEventListener('pointerup', up)
  node.addEventListener('pointercancel', up)
  return () => {
    node.removeEventListener('pointerdown', down)
    node.removeEventListener('pointermove', move)
    node.removeEventListener('pointerup', up)
    node.removeEventListener('pointercancel', up)
  }
}
