import { untrack } from 'svelte'
import uPlot from 'uplot'
import { buildChartOptions } from './chartOptions.ts'
import type { ChartBand, ChartFill, ChartMarker, ChartSeries } from './chartSeries.ts'
import type { ChartSight } from './chartSight.svelte.ts'
import { followTouch } from './chartTouch.ts'

/** How often the pixel ratio is looked at, ms. */
const ratioMs = 1000

/** What is drawn; read anew each time. */
export interface ChartDrawingProps {
  data: () => uPlot.AlignedData
  series: () => readonly ChartSeries[]
  height: () => number
  xLabel: () => string
  formatX: (x: number) => string
  yRanges: () => Readonly<Record<string, readonly [number, number]>>
  syncKey: () => string | undefined
  bands: () => readonly ChartBand[]
  markers: () => readonly ChartMarker[]
  fills: () => readonly ChartFill[]
  showXAxis: () => boolean
  /** Whether units and the x axis are named in the drawing itself. */
  isNamed: () => boolean
  /** Changes when the colours do. */
  theme: () => unknown
}

/**
 * Draws a chart into an element and keeps it up with size, theme, pixel ratio and data. Runs inside an attachment: its effects end with it.
 * @returns what ends it
 */
export function drawChart(node: HTMLElement, props: ChartDrawingProps, sight: ChartSight): () => void {
  let chart: uPlot | undefined
  let pixelRatio = devicePixelRatio
  const create = () => {
    if (chart || node.clientWidth === 0) return
    const options = untrack(() =>
      buildChartOptions({
        series: props.series(),
        width: node.clientWidth,
        height: props.height(),
        xLabel: props.xLabel(),
        formatX: props.formatX,
        yRanges: props.yRanges(),
        syncKey: props.syncKey(),
        showXAxis: props.showXAxis(),
        isNamed: props.isNamed(),
        bands: props.bands,
        markers: props.markers,
        fills: props.fills(),
        view: () => sight.view,
        onselect: (from, to) => sight.show([from, to]),
        oncursor: (index) => sight.hover(index),
      }),
    )
    chart = new uPlot(options, untrack(props.data), node)
  }
  sight.place = (x) => chart?.setCursor({ left: chart.valToPos(x, 'x'), top: 10 })
  create()
  let frame = 0
  const observer = new ResizeObserver(() => {
    cancelAnimationFrame(frame)
    frame = requestAnimationFrame(() => {
      create()
      if (chart && chart.width !== node.clientWidth && node.clientWidth > 0)
        chart.setSize({ width: node.clientWidth, height: untrack(props.height) })
    })
  })
  observer.observe(node)
  // Moving the window to another screen, or zooming the page, changes the pixel ratio without any size change.
  const ratioTimer = setInterval(() => {
    if (pixelRatio === devicePixelRatio) return
    pixelRatio = devicePixelRatio
    chart?.destroy()
    chart = undefined
    create()
  }, ratioMs)
  $effect(() => {
    chart?.setData(props.data(), true)
  })
  $effect(() => {
    props.theme()
    props.bands()
    props.markers()
    void sight.view
    chart?.setData(untrack(props.data), true)
  })
  const stopTouch = followTouch(node, {
    unitsPerPixel: () => {
      const [from, to] = sight.view ?? sight.whole
      return chart ? (to - from) / (chart.bbox.width / devicePixelRatio) : 0
    },
    move: (by) => sight.move(by),
    zoom: (factor) => sight.zoom(factor),
  })
  return () => {
    stopTouch()
    clearInterval(ratioTimer)
    cancelAnimationFrame(frame)
    observer.disconnect()
    chart?.destroy()
    chart = undefined
  }
}
