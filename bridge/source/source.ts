/** Condition of the wire itself, as the source sees it; silence is judged elsewhere, by the lines that come. */
export type WireState = 'connecting' | 'open' | 'lost'

/** Where a source hands what it gets. */
export interface SourceSink {
  /** Bytes as they came; valid during the call only. `arrivalS` is on the bridge's clock. */
  bytes(chunk: Uint8Array, arrivalS: number): void
  /** The wire opened, or was lost; `text` says what a person should know or do. */
  wire(state: WireState, text: string): void
}

/** One place that bytes come from: a serial device, a network address, the simulator, a replayed run. */
export interface Source {
  /** A simulator, or a run played again: what it says of the road happens to nobody. */
  readonly isPretend?: true
  /** Name for the screen, e.g. the device's path. */
  readonly name: string
  /** True when the bridge may talk to the board (`?`). */
  readonly canAsk: boolean
  start(sink: SourceSink): void
  /** Sends a line to the board; false when the wire is not open. */
  write(text: string): boolean
  /** Speed of a serial device, baud; absent where there is none. */
  readonly speed?: number
  /** Goes on at another speed, without opening the device anew where the system can do that. */
  setSpeed?(baud: number): void
  /** Drops the wire and opens it anew, when it has been silent for long. */
  reopen(): void
  stop(): Promise<void>
}
