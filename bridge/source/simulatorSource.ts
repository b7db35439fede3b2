import type { Clock } from '../clock.ts'
import type { Source, SourceSink } from './source.ts'

/** The simulator as the bridge needs it: paced by the caller. */
export interface LiveSimulator {
  /** Bytes of the board up to this time, seconds since its start. */
  advance(toS: number): Uint8Array
  /** A command line as it would come down the wire. */
  command(text: string): void
}

/** How often the simulated board is asked for its lines, ms: as fast as its samples at 100 Hz. */
const stepMs = 10
/** A longer pause than this is left out of the drive, s. */
const longestStepS = 5

/** A simulated board in this process, in real time. */
export function createSimulatorSource(options: {
  name: string
  clock: Clock
  createSimulator: () => Promise<LiveSimulator>
}): Source {
  const { clock } = options
  let timer: NodeJS.Timeout | undefined
  let stopped = false
  let command: ((text: string) => void) | undefined

  const run = async (sink: SourceSink) => {
    const simulator = await options.createSimulator()
    command = (text) => simulator.command(text)
    if (stopped) return
    let startS = clock.nowS()
    let lastS = 0
    sink.wire('open', 'the simulator starts')
    timer = setInterval(() => {
      const nowS = clock.nowS()
      // After a pause (the machine slept) the drive goes on from where it was: hours are not run in one go.
      if (nowS - startS - lastS > longestStepS) startS = nowS - lastS
      lastS = nowS - startS
      const bytes = simulator.advance(lastS)
      if (bytes.length > 0) sink.bytes(bytes, nowS)
    }, stepMs)
  }

  return {
    name: options.name,
    isPretend: true,
    canAsk: true,
    start(sink) {
      sink.wire('connecting', 'starting the simulator')
      run(sink).catch((error: unknown) => {
        sink.wire('lost', `the simulator failed: ${error instanceof Error ? error.message : String(error)}`)
      })
    },
    write(text) {
      command?.(text)
      return command !== undefined
    },
    reopen() {},
    stop() {
      stopped = true
      clearInterval(timer)
      return Promise.resolve()
    },
  }
}
