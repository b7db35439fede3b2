import type uPlot from 'uplot'
import { keyEntries } from '../chartKey.ts'
import {
  type ChartBand,
  type ChartFill,
  type ChartMarker,
  type ChartSeries,
  type InkRole,
  valueText,
} from '../chartSeries.ts'
import { axisTicks, isTimeAxis, tickDecimals } from './axisTicks.ts'
import type { PicturePen } from './picturePen.ts'

/** Everything that a chart's picture shows. */
export interface ChartPicture {
  title: string
  finding: string
  /** Car, run and date: where the data are from. */
  origin: string
  data: uPlot.AlignedData
  series: readonly ChartSeries[]
  xLabel: string
  formatX: (x: number) => string
  /** What of x is in sight, default all. */
  view?: readonly [number, number]
  yRanges: Readonly<Record<string, readonly [number, number]>>
  bands: readonly ChartBand[]
  markers: readonly ChartMarker[]
  fills?: readonly ChartFill[]
}

/** Wide enough for a page, CSS pixels. */
export const pictureWidth = 1200
const plotHeight = 460
const left = 84
const right = 84
const top = 126
const below = 62
export const pictureHeight = top + plotHeight + below
/** Day's colours, for paper. */
const paper = '#FFFFFF'
const colours: Readonly<Record<InkRole, string>> = {
  ink: '#14171C',
  quiet: '#4A4F57',
  rich: '#00507F',
  lean: '#723D00',
  line: '#6B727D',
}
const gridColour = '#DADCE0'
const bandColour = '#ECEEF1'
/** A letter's width in its size, about; only a canvas could measure. */
const letterShare = 0.58
const mostFinding = 130

/** Draws the picture: head, legend, axes with units, bands, marks, and the lines. A null is a gap, an undefined no sample on this base. */
export function drawChartPicture(pen: PicturePen, picture: ChartPicture): void {
  const { title, finding, origin, data, series } = picture
  const xs = data[0]
  const [fromX, toX] = picture.view ?? [xs[0] ?? 0, xs[xs.length - 1] ?? 1]
  const width = pictureWidth - left - right
  const xOf = (x: number) => left + ((x - fromX) / (toX - fromX || 1)) * width
  pen.rect(0, 0, pictureWidth, pictureHeight, paper)
  pen.text(left, 34, title, { size: 22, weight: 700, fill: colours.ink })
  pen.text(pictureWidth - right, 34, origin, { size: 15, fill: colours.quiet, anchor: 'end' })
  const shown = finding.length > mostFinding ? `${finding.slice(0, mostFinding - 1)}…` : finding
  pen.text(left, 60, shown, { size: 15, fill: colours.quiet })
  drawKey(pen, picture)
  const names = [...new Set(series.map(({ scale = 'y' }) => scale))]
  const ranges = new Map(names.map((name) => [name, rangeOf(picture, name, fromX, toX)]))
  const yOf = (y: number, [low, high]: readonly [number, number]) =>
    top + plotHeight - ((y - low) / (high - low)) * plotHeight
  for (const { axis, from, to, scale } of picture.bands) {
    const range = ranges.get(scale ?? names[0])
    if (axis === 'x') fillBand(pen, xOf(from), xOf(to), top, top + plotHeight)
    else if (range) fillBand(pen, left, left + width, yOf(to, range), yOf(from, range))
  }
  for (const { upper, lower } of picture.fills ?? []) {
    const range = ranges.get(series[upper].scale ?? 'y')!
    pen.clip(left, top, width, plotHeight)
    pen.area(
      outline(xs, data[upper + 1], data[lower + 1], xOf, (y) => yOf(y, range)),
      bandColour,
    )
    pen.unclip()
  }
  drawXAxis(pen, picture, fromX, toX, xOf)
  names.slice(0, 2).forEach((name, i) => {
    const range = ranges.get(name)!
    const units = [...new Set(series.filter(({ scale = 'y' }) => scale === name).map(({ unit }) => unit))]
    drawYAxis(pen, range, (y) => yOf(y, range), units.filter(Boolean).join(', '), i === 1)
  })
  pen.clip(left, top, width, plotHeight)
  series.forEach((line, i) => {
    const range = ranges.get(line.scale ?? 'y')!
    drawSeries(pen, line, xs, data[i + 1], xOf, (y) => yOf(y, range), fromX, toX)
  })
  pen.unclip()
  for (const { x, label } of picture.markers) {
    if (x < fromX || x > toX) continue
    pen.line([xOf(x), top, xOf(x), top + plotHeight], colours.quiet, 1, [4, 4])
    pen.text(xOf(x) + 4, top + 14, label, { size: 13, fill: colours.quiet })
  }
}

function fillBand(pen: PicturePen, x0: number, x1: number, y0: number, y1: number): void {
  const x = Math.max(left, x0)
  const y = Math.max(top, y0)
  const width = Math.min(pictureWidth - right, x1) - x
  const height = Math.min(top + plotHeight, y1) - y
  if (width > 0 && height > 0) pen.rect(x, y, width, height, bandColour)
}

/** What the lines and grounds mean, as on the page; a chart of one line names that one. */
function drawKey(pen: PicturePen, { series, bands }: ChartPicture): void {
  const found = keyEntries(series, bands)
  const entries = found.length > 0 ? found : series.slice(0, 1).map((line) => ({ label: line.label, line }))
  let x = left
  for (const { label, line } of entries) {
    const text = line?.unit ? `${label} (${line.unit})` : label
    const width = 34 + text.length * 15 * letterShare + 22
    if (x + width > pictureWidth - right && x > left) break
    const colour = colours[line?.role ?? 'ink']
    if (!line) pen.rect(x, 84, 26, 14, bandColour)
    else if (line.points) pen.dot(x + 12, 91, 3, colour)
    else pen.line([x, 91, x + 26, 91], colour, 2, line.dash)
    pen.text(x + 34, 96, text, { size: 15, fill: colours.ink })
    x += width
  }
}

/** As on the page: a fixed range, else that of what is in sight with some room. */
function rangeOf(
  { data, series, yRanges }: ChartPicture,
  name: string,
  fromX: number,
  toX: number,
): readonly [number, number] {
  if (yRanges[name]) return yRanges[name]
  const xs = data[0]
  let low = Number.POSITIVE_INFINITY
  let high = Number.NEGATIVE_INFINITY
  let decimals = 2
  series.forEach((line, i) => {
    if ((line.scale ?? 'y') !== name) return
    decimals = line.decimals ?? 2
    const ys = data[i + 1]
    for (let k = 0; k < xs.length; k++) {
      const y = ys[k]
      if (y == null || !Number.isFinite(y) || xs[k] < fromX || xs[k] > toX) continue
      if (y < low) low = y
      if (y > high) high = y
    }
  })
  if (low > high) return [0, 1]
  const room = Math.max((high - low) * 0.08, (8 * 10 ** -decimals - (high - low)) / 2)
  return [low - room, high + room]
}

function drawXAxis(
  pen: PicturePen,
  { xLabel, formatX }: ChartPicture,
  fromX: number,
  toX: number,
  xOf: (x: number) => number,
): void {
  const bottom = top + plotHeight
  for (const x of axisTicks(fromX, toX, 12, isTimeAxis(xLabel))) {
    pen.line([xOf(x), top, xOf(x), bottom], gridColour, 1)
    pen.line([xOf(x), bottom, xOf(x), bottom + 6], colours.line, 1)
    pen.text(xOf(x), bottom + 22, formatX(x), { size: 14, fill: colours.quiet, anchor: 'middle' })
  }
  pen.line([left, bottom, pictureWidth - right, bottom], colours.line, 1.5)
  pen.text((left + pictureWidth - right) / 2, bottom + 46, xLabel, {
    size: 15,
    fill: colours.ink,
    anchor: 'middle',
  })
}

function drawYAxis(
  pen: PicturePen,
  [low, high]: readonly [number, number],
  yOf: (y: number) => number,
  unit: string,
  isRight: boolean,
): void {
  const x = isRight ? pictureWidth - right : left
  const side = isRight ? 1 : -1
  const ticks = axisTicks(low, high, 8)
  const decimals = tickDecimals(ticks)
  for (const y of ticks) {
    if (!isRight) pen.line([left, yOf(y), pictureWidth - right, yOf(y)], gridColour, 1)
    pen.line([x, yOf(y), x + 6 * side, yOf(y)], colours.line, 1)
    pen.text(x + 10 * side, yOf(y) + 5, valueText(y, decimals), {
      size: 14,
      fill: colours.quiet,
      anchor: isRight ? 'start' : 'end',
    })
  }
  pen.line([x, top, x, top + plotHeight], colours.line, 1.5)
  if (unit)
    pen.text(x + 64 * side + (isRight ? 10 : 0), top + plotHeight / 2, unit, {
      size: 15,
      fill: colours.ink,
      anchor: 'middle',
      isUpright: true,
    })
}

/** Corners of the ground between two lines: along the upper, back along the lower. */
function outline(
  xs: uPlot.AlignedData[0],
  upper: uPlot.AlignedData[1],
  lower: uPlot.AlignedData[1],
  xOf: (x: number) => number,
  yOf: (y: number) => number,
): number[] {
  const there: number[] = []
  const back: number[] = []
  for (let k = 0; k < xs.length; k++) {
    const high = upper[k]
    const low = lower[k]
    if (high == null || low == null || !Number.isFinite(high) || !Number.isFinite(low)) continue
    there.push(xOf(xs[k]), yOf(high))
    back.unshift(xOf(xs[k]), yOf(low))
  }
  return [...there, ...back]
}

function drawSeries(
  pen: PicturePen,
  line: ChartSeries,
  xs: uPlot.AlignedData[0],
  ys: uPlot.AlignedData[1],
  xOf: (x: number) => number,
  yOf: (y: number) => number,
  fromX: number,
  toX: number,
): void {
  const colour = colours[line.role ?? 'ink']
  let points: number[] = []
  const flush = () => {
    if (points.length === 2) pen.dot(points[0], points[1], 1, colour)
    else if (points.length > 2) pen.line(points, colour, 1.25 * (line.widthPx ?? 1), line.dash)
    points = []
  }
  for (let k = 0; k < xs.length; k++) {
    // The neighbours out of sight are drawn too: the clip cuts the line at the edge.
    if (k + 1 < xs.length && xs[k + 1] < fromX) continue
    if (k > 0 && xs[k - 1] > toX) break
    const y = ys[k]
    if (y === undefined) continue
    if (y === null || !Number.isFinite(y)) flush()
    else if (line.points) pen.dot(xOf(xs[k]), yOf(y), 2.5, colour)
    else points.push(xOf(xs[k]), yOf(y))
  }
  flush()
}
