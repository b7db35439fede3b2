import type { Clock } from '../clock.ts'
import type { Source, SourceSink } from './source.ts'

/** The simulator as the bridge needs it: paced by the caller. */
export interface LiveSimulator {
  /** Bytes of the board up to this time, seconds since its start. */
  advance(toS: number): Uint8Array
}

/** How often the simulated board is asked for its lines, ms: as fast as its samples at 100 Hz. */
const stepMs = 10

/** A simulated board in this process, in real time. */
export function createSimulatorSource(options: {
  name: string
  clock: Clock
  createSimulator: () => Promise<LiveSimulator>
}): Source {
  const { clock } = options
  let timer: NodeJS.Timeout | undefined
  let stopped = false

  const run = async (sink: SourceSink) => {
    const simulator = await options.createSimulator()
    if (stopped) return
    const startS = clock.nowS()
    sink.wire('open', 'the simulator starts')
    timer = setInterval(() => {
      const nowS = clock.nowS()
      const bytes = simulator.advance(nowS - startS)
      if (bytes.length > 0) sink.bytes(bytes, nowS)
    }, stepMs)
  }

  return {
    name: options.name,
    canAsk: false,
    start(sink) {
      sink.wire('connecting', 'starting the simulator')
      run(sink).catch((error: unknown) => {
        sink.wire('lost', `the simulator failed: ${error instanceof Error ? error.message : String(error)}`)
      })
    },
    write: () => false,
    reopen() {},
    stop() {
      stopped = true
      clearInterval(timer)
      return Promise.resolve()
    },
  }
}
