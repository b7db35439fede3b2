/** What a chart's picture is drawn with: the same strokes become vectors of an SVG, or pixels of a canvas. Lengths are CSS pixels. */
export interface PicturePen {
  rect(x: number, y: number, width: number, height: number, fill: string): void
  /** Joined points `[x0, y0, x1, y1, …]`, within the clip where there is one. */
  line(points: readonly number[], stroke: string, width: number, dash?: readonly number[]): void
  /** The ground within joined corners `[x0, y0, x1, y1, …]`. */
  area(corners: readonly number[], fill: string): void
  dot(x: number, y: number, radius: number, fill: string): void
  text(x: number, y: number, text: string, style: TextStyle): void
  /** Lines, grounds and dots until `unclip` stay within. */
  clip(x: number, y: number, width: number, height: number): void
  unclip(): void
}

export interface TextStyle {
  size: number
  fill: string
  weight?: 400 | 700
  anchor?: 'start' | 'middle' | 'end'
  /** Turned upwards, to be read from the right. */
  isUpright?: boolean
}

/** The picture's face; the system's plain one where it is missing. */
export const pictureFont = 'B612, sans-serif'
