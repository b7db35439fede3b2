import { CaptureSink } from './outputs.ts'
import type { SimulateOptions } from './runOptions.ts'
import { Simulation } from './simulation.ts'
import type { Truth } from './truth.ts'

/** Longest run without `seconds`, s. */
const longestS = 4 * 3600
const bytesPerSample = 90

/** A run that was made: a whole capture file, and what truly happened. */
export interface SimulatedRun {
  bytes: Uint8Array
  truth: Truth
}

/**
 * Makes one run as fast as the machine allows. Deterministic: the same options give the same bytes and truth.
 * @throws RangeError for an unknown set-up, drive, channel, or a rate out of range
 */
export function simulateRun(options: SimulateOptions): SimulatedRun {
  const limitS = options.seconds ?? longestS
  const expected = (options.seconds ?? 600) * (options.rateHz ?? 100) * bytesPerSample
  const sink = new CaptureSink(Math.min(1 << 26, Math.round(expected)))
  const simulation = new Simulation({ ...options, keepTruth: true }, sink)
  simulation.runTo(limitS)
  // After the last line, whatever its jitter was.
  const stopS = simulation.timeS + 0.001 * simulation.run.p['line.jitter_ms'] + 0.06
  sink.record(stopS, { type: 'stop', reason: 'end of drive' })
  const truth = simulation.truth!.finish(options.car.name, options.car.right, simulation.engine)
  return { bytes: sink.buffer.take(), truth }
}
