import type uPlot from 'uplot'
import { type ChartSeries, valueText } from './chartSeries.ts'

/** A stretch of x, from and to. */
export type Stretch = readonly [number, number]

/** What the chart knows of its page; read anew each time. */
export interface ChartSightProps {
  data: () => uPlot.AlignedData
  series: () => readonly ChartSeries[]
  formatX: (x: number) => string
  /** Stretch given from outside; undefined leaves it to the chart. */
  view: () => Stretch | undefined
  onview: () => ((view: Stretch | undefined) => void) | undefined
}

/** What of a chart is in sight, and where its cursor stands; moved by keys, buttons, mouse and fingers. */
export class ChartSight {
  #own = $state.raw<Stretch | undefined>(undefined)
  #cursor = $state.raw<number | null>(null)
  readonly #props: ChartSightProps
  /** Puts the drawing's own cursor over a point. */
  place: (x: number) => void = () => {}

  constructor(props: ChartSightProps) {
    this.#props = props
  }

  /** The stretch in sight; undefined while it is the whole. */
  get view(): Stretch | undefined {
    return this.#props.view() ?? this.#own
  }
  get whole(): Stretch {
    const [xs] = this.#props.data()
    return [xs[0] ?? 0, xs[xs.length - 1] ?? 1]
  }
  /** Place of the cursor among the data; null without one. */
  get cursor(): number | null {
    return this.#cursor
  }
  get cursorX(): number | undefined {
    return this.#cursor === null ? undefined : this.#props.data()[0][this.#cursor]
  }
  /** What stands at the cursor, as a sentence. */
  get cursorText(): string {
    const x = this.cursorX
    if (this.#cursor === null || x === undefined) return 'no point chosen'
    const at = this.#cursor
    const values = this.#props
      .series()
      .map(
        (line, i) =>
          `${line.label} ${valueText(this.#props.data()[i + 1][at], line.decimals ?? 2)} ${line.unit ?? ''}`,
      )
    return `${this.#props.formatX(x)}, ${values.join(', ')}`
  }

  show(next: Stretch | undefined): void {
    const tell = this.#props.onview()
    if (tell) tell(next)
    else this.#own = next
  }

  /** @param factor below 1 for a closer look; around the cursor when it is in sight */
  zoom(factor: number): void {
    const [from, to] = this.view ?? this.whole
    const x = this.cursorX
    const middle = x !== undefined && x >= from && x <= to ? x : (from + to) / 2
    this.show([middle - (middle - from) * factor, middle + (to - middle) * factor])
  }

  move(by: number): void {
    const [from, to] = this.view ?? this.whole
    this.show([from + by, to + by])
  }

  /** @param share of what is in sight, later positive */
  shift(share: number): void {
    const [from, to] = this.view ?? this.whole
    this.move((to - from) * share)
  }

  /** The drawing's cursor moved by itself. */
  hover(index: number | null): void {
    this.#cursor = index
  }

  /** Does what a key stands for; true when it stands for something. */
  press(key: string): boolean {
    const last = this.#props.data()[0].length - 1
    const at = this.#cursor ?? Math.floor(last / 2)
    const big = Math.max(1, Math.round(last / 20))
    const actions: Record<string, () => void> = {
      ArrowLeft: () => this.#moveCursor(at - 1),
      ArrowRight: () => this.#moveCursor(at + 1),
      PageDown: () => this.#moveCursor(at - big),
      PageUp: () => this.#moveCursor(at + big),
      Home: () => this.#moveCursor(0),
      End: () => this.#moveCursor(last),
      '+': () => this.zoom(0.5),
      '=': () => this.zoom(0.5),
      '-': () => this.zoom(2),
      '0': () => this.show(undefined),
    }
    actions[key]?.()
    return actions[key] !== undefined
  }

  #moveCursor(to: number): void {
    const xs = this.#props.data()[0]
    const index = Math.max(0, Math.min(xs.length - 1, to))
    this.hover(index)
    this.place(xs[index])
  }
}
