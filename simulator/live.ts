import { type OperatingState, operatingStates } from '../core/contract/result.ts'
import { WireSink } from './outputs.ts'
import type { SimulateOptions } from './runOptions.ts'
import { Simulation } from './simulation.ts'
import { classifyState } from './trueStates.ts'

/** What is true at this moment. */
export interface TruthNow {
  timeS: number
  lambda: number
  state: OperatingState
  rpm: number
  throttlePct: number
  manifoldKpa: number
  coolantC: number
  roadSpeedMs: number
}

/** A simulated board on a wire, paced by the caller. */
export interface LiveSimulator {
  /** Runs to so many seconds after the start and gives the board's bytes since the last call. */
  advance(toS: number): Uint8Array
  /** A command as it comes down the wire: `?`, `R,<hz>`, `Z`; the answer is among the next bytes. */
  command(text: string): void
  truthNow(): TruthNow
  /** True when the drive has ended and does not repeat. */
  readonly done: boolean
}

/**
 * A live source. The drive begins anew when it ends (`repeat`, default true), so that a demonstration never stops; no history
 * is kept.
 * @throws RangeError as `simulateRun`
 */
export function createLiveSimulator(options: SimulateOptions & { repeat?: boolean }): LiveSimulator {
  const sink = new WireSink()
  const repeat = options.repeat !== false
  let simulation = new Simulation({ ...options, keepTruth: false }, sink)
  let zeroS = 0
  let round = 0
  let rateHz = simulation.run.rateHz

  return {
    advance(toS) {
      for (;;) {
        simulation.runTo(toS - zeroS)
        if (!simulation.done || !repeat || zeroS + simulation.timeS >= toS) break
        zeroS += simulation.timeS
        round++
        // The next drive of this car: warm by now, another seed, and to the listener a board that started again.
        simulation = new Simulation(
          { ...options, seed: (options.seed ?? 1) + round, rateHz, keepTruth: false },
          sink,
        )
      }
      return sink.buffer.take()
    },
    command(text) {
      const { board, timeS } = simulation
      const command = text.trim()
      if (command === '') return
      if (command === '?') {
        board.declareAll(timeS)
        board.answer(timeS, '?', true, '')
      } else if (/^R,\d+$/.test(command)) {
        const hz = Number(command.slice(2))
        const ok = hz >= 20 && hz <= 500
        if (ok) {
          rateHz = hz
          simulation.setRate(hz)
        }
        board.answer(timeS, 'R', ok, ok ? String(hz) : 'rate must be 20 to 500')
      } else if (command === 'Z') {
        board.answer(timeS, 'Z', true, simulation.freeAirMa(0).toFixed(3))
      } else board.answer(timeS, command.slice(0, 20), false, 'unknown command')
    },
    truthNow() {
      const { engine, run, timeS } = simulation
      return {
        timeS: zeroS + timeS,
        lambda: engine.lambda,
        state: operatingStates[classifyState(run.p, engine)],
        rpm: engine.rpm,
        throttlePct: engine.throttlePct,
        manifoldKpa: engine.manifoldPa / 1000,
        coolantC: engine.coolantC,
        roadSpeedMs: engine.speedMs,
      }
    },
    get done() {
      return simulation.done && !repeat
    },
  }
}
