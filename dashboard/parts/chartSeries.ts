/** Roles a line may take; the colour comes from the theme. */
export type InkRole = 'ink' | 'quiet' | 'rich' | 'lean' | 'line'

export interface ChartSeries {
  label: string
  unit?: string
  /** Colour role, default `ink`. */
  role?: InkRole
  /** Dash pattern in CSS pixels; series B of a comparison is dashed. */
  dash?: number[]
  /** Name of its y scale, default `y`. */
  scale?: string
  /** Decimals of its values, default 2. */
  decimals?: number
  /** Line width in device pixels, default 1: wider lines cost several times as much to draw. */
  widthPx?: number
  /** Draws points instead of a line. */
  points?: boolean
  /** Its name in the key, default `label`; lines that look alike share an entry, an empty one has none. */
  key?: string
}

/** A stretch of a y scale drawn as ground (an allowed band) or of x (a state). */
export interface ChartBand {
  from: number
  to: number
  axis: 'x' | 'y'
  scale?: string
  label?: string
}

/** The ground between two lines of a chart, by their places among its series: the scatter around a mean. */
export interface ChartFill {
  upper: number
  lower: number
}

/** Name of an axis of time. */
export const timeLabel = 'time from the start, min:s'

/** A vertical line with a word: a mark, the start of an event. */
export interface ChartMarker {
  x: number
  label: string
}

/** Text of a value with fixed decimals and a true minus sign; a dash when there is none. */
export function valueText(value: number | null | undefined, decimals: number): string {
  if (value == null || Number.isNaN(value)) return '–'
  return value.toFixed(decimals).replace('-', '\u2212')
}
