import type uPlot from 'uplot'
import {
  type ChartBand,
  type ChartFill,
  type ChartMarker,
  type ChartSeries,
  valueText,
} from './chartSeries.ts'
import { clockSteps, isTimeAxis } from './picture/axisTicks.ts'

/** Room over the drawing for the unit of y, CSS px. */
const unitRoomPx = 32
/** Steps of a time axis, s: those of a clock, and of a stopwatch under a second. */
const timeSteps = [0.01, 0.02, 0.05, 0.1, 0.2, 0.5, ...clockSteps]

/** Reads a colour of the theme as it is now. */
export function themeColour(role: string): string {
  return getComputedStyle(document.documentElement).getPropertyValue(`--${role}`).trim() || '#000'
}

export interface BuildOptions {
  series: readonly ChartSeries[]
  width: number
  height: number
  xLabel: string
  formatX: (x: number) => string
  yRanges: Readonly<Record<string, readonly [number, number]>>
  syncKey?: string
  bands: () => readonly ChartBand[]
  markers: () => readonly ChartMarker[]
  fills: readonly ChartFill[]
  view: () => readonly [number, number] | undefined
  showXAxis: boolean
  /** Names the x axis and the unit of y in the drawing; a strip among strips has them beside it. */
  isNamed: boolean
  onselect: (from: number, to: number) => void
  oncursor: (index: number | null) => void
}

/** Options of uPlot for our charts. Colours are functions of the theme: a redraw follows a change of theme. */
export function buildChartOptions(o: BuildOptions): uPlot.Options {
  const font = '14px B612, sans-serif'
  const scales: uPlot.Scales = {
    x: {
      time: false,
      range: (_u, min, max) => {
        const view = o.view()
        if (view) return [view[0], view[1]]
        return min === max ? [min - 1, max + 1] : [min, max]
      },
    },
  }
  for (const line of o.series) {
    const name = line.scale ?? 'y'
    const fixed = o.yRanges[name]
    scales[name] ??= {
      range: (_u, min, max) => {
        if (fixed) return [fixed[0], fixed[1]]
        // A NaN or an empty stretch must not spoil the axis.
        if (!Number.isFinite(min) || !Number.isFinite(max)) return [0, 1]
        // A quiet line is drawn as quiet: the scale never opens up its last digit.
        const leastSpan = 8 * 10 ** -(line.decimals ?? 2)
        const room = Math.max((max - min) * 0.08, (leastSpan - (max - min)) / 2)
        return [min - room, max + room]
      },
    }
  }
  const yAxis = (scale: string): uPlot.Axis => ({
    scale,
    size: 62,
    font,
    stroke: () => themeColour('quiet'),
    grid: { stroke: () => themeColour('faint'), width: 1 / devicePixelRatio },
    ticks: { stroke: () => themeColour('line'), width: 1 / devicePixelRatio, size: 5 },
    values: (_u, splits) => {
      const decimals = axisDecimals(splits)
      return splits.map((v) => valueText(v, decimals))
    },
  })
  const firstScale = o.series[0]?.scale ?? 'y'
  const yUnit = o.isNamed
    ? (o.series.find((line) => (line.scale ?? 'y') === firstScale && line.unit)?.unit ?? '')
    : ''
  return {
    width: o.width,
    height: o.height,
    scales,
    legend: { show: false },
    // To the right half the last label of the axis must fit.
    padding: [yUnit ? unitRoomPx : 8, 24, o.showXAxis ? 0 : 8, 0],
    cursor: {
      sync: o.syncKey ? { key: o.syncKey, setSeries: false } : undefined,
      drag: { x: true, y: false, setScale: false },
      points: { size: 7 },
      y: false,
    },
    axes: [
      {
        // Without its labels the axis still draws its grid, so that strips read as one.
        size: o.showXAxis ? 34 : 0,
        font,
        incrs: isTimeAxis(o.xLabel) ? timeSteps : undefined,
        label: o.showXAxis && o.isNamed ? o.xLabel : undefined,
        labelFont: font,
        labelSize: 20,
        stroke: () => themeColour('quiet'),
        grid: { stroke: () => themeColour('faint'), width: 1 / devicePixelRatio },
        ticks: { show: o.showXAxis, stroke: () => themeColour('line'), width: 1 / devicePixelRatio, size: 5 },
        values: (_u, splits) => (o.showXAxis ? splits.map(o.formatX) : []),
      },
      yAxis(firstScale),
    ],
    bands: o.fills.map(
      ({ upper, lower }): uPlot.Band => ({
        series: [upper + 1, lower + 1],
        fill: () => themeColour('band'),
      }),
    ),
    series: [
      {},
      ...o.series.map(
        (line): uPlot.Series => ({
          label: line.label,
          scale: line.scale ?? 'y',
          stroke: () => themeColour(line.role ?? 'ink'),
          width: (line.widthPx ?? 1) / devicePixelRatio,
          dash: line.dash,
          points: line.points ? { show: true, size: 5 } : { show: false },
          paths: line.points ? () => null : undefined,
        }),
      ),
    ],
    hooks: {
      drawClear: [(u) => drawBands(u, o.bands())],
      draw: [(u) => drawMarkers(u, o.markers(), font), (u) => drawUnit(u, yUnit, font)],
      setSelect: [
        (u) => {
          if (u.select.width < 8) return
          o.onselect(u.posToVal(u.select.left, 'x'), u.posToVal(u.select.left + u.select.width, 'x'))
          u.setSelect({ left: 0, top: 0, width: 0, height: 0 }, false)
        },
      ],
      setCursor: [(u) => o.oncursor(u.cursor.idx ?? null)],
    },
  }
}

function drawBands(u: uPlot, bands: readonly ChartBand[]): void {
  const { ctx, bbox } = u
  ctx.save()
  ctx.fillStyle = themeColour('band')
  for (const band of bands) {
    if (band.axis === 'y') {
      const top = Math.max(bbox.top, u.valToPos(band.to, band.scale ?? 'y', true))
      const bottom = Math.min(bbox.top + bbox.height, u.valToPos(band.from, band.scale ?? 'y', true))
      if (bottom > top) ctx.fillRect(bbox.left, top, bbox.width, bottom - top)
    } else {
      const left = Math.max(bbox.left, u.valToPos(band.from, 'x', true))
      const right = Math.min(bbox.left + bbox.width, u.valToPos(band.to, 'x', true))
      if (right > left) ctx.fillRect(left, bbox.top, right - left, bbox.height)
    }
  }
  ctx.restore()
}

function drawMarkers(u: uPlot, markers: readonly ChartMarker[], font: string): void {
  if (markers.length === 0) return
  const { ctx, bbox } = u
  ctx.save()
  ctx.strokeStyle = themeColour('quiet')
  ctx.fillStyle = themeColour('quiet')
  ctx.lineWidth = 1
  ctx.font = onCanvas(font)
  ctx.setLineDash([4, 4])
  ctx.textAlign = 'left'
  // A word that would lie over the one before it is left out; its line stays.
  let freeFrom = Number.NEGATIVE_INFINITY
  for (const marker of markers) {
    const x = Math.round(u.valToPos(marker.x, 'x', true)) + 0.5
    if (x < bbox.left || x > bbox.left + bbox.width) continue
    ctx.beginPath()
    ctx.moveTo(x, bbox.top)
    ctx.lineTo(x, bbox.top + bbox.height)
    ctx.stroke()
    if (x + 4 < freeFrom) continue
    ctx.fillText(marker.label, x + 4, bbox.top + 14 * devicePixelRatio)
    if (marker.label) freeFrom = x + 4 + ctx.measureText(`${marker.label} `).width
  }
  ctx.restore()
}

/** The unit of y over its numbers. */
function drawUnit({ ctx, bbox }: uPlot, unit: string, font: string): void {
  if (unit === '') return
  ctx.save()
  ctx.fillStyle = themeColour('quiet')
  ctx.font = onCanvas(font)
  ctx.textAlign = 'right'
  ctx.fillText(unit, bbox.left - 8 * devicePixelRatio, bbox.top - 15 * devicePixelRatio)
  ctx.restore()
}

/** A canvas counts in device pixels. */
const onCanvas = (font: string) =>
  font.replace(/^(\d+)px/, (_all, size: string) => `${Number(size) * devicePixelRatio}px`)

/** As many decimals as the finest step on an axis needs, three at most: 0.925 must not read 0.93 beside 0.95. */
function axisDecimals(splits: readonly number[]): number {
  for (let decimals = 0; decimals < 3; decimals++) {
    const scale = 10 ** decimals
    if (splits.every((value) => Math.abs(value * scale - Math.round(value * scale)) < 1e-6)) return decimals
  }
  return 3
}
