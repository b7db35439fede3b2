import type { CarProfile } from '../../core/contract/car.ts'
import type { RunLearned } from '../../core/contract/result.ts'
import type { SampleBlock } from '../../core/contract/samples.ts'
import { createLambdaStage, defaultLambdaStageOptions } from '../../core/engine/lambdaStage.ts'
import { flowFigure } from '../../core/engine/pointHistory.ts'
import { guessedLoad } from '../../core/engine/throttleLoad.ts'
import { createRunKnowledge, settingsOf, takeRecord } from '../../core/pipeline/runKnowledge.ts'
import { unitTransfer } from '../../core/units/convert.ts'
import { isUnitId } from '../../core/units/unitTable.ts'
import { lambdaChannel, lambdaChannel2 } from '../parts/run/channelNames.ts'
import { ColumnHistory } from './columnHistory.ts'
import type { TraceAnswer, TraceChannel } from './messages.ts'
import { reduceColumn, reducedTimes } from './reduceColumn.ts'
import type { RunItem } from './runItems.ts'

/** Channels charted at most: a board that invents names must not grow this. */
const mostChannels = 64
/** A reading beyond this is no mixture: overrun, or air. */
const mostLambda = 1.5
/** Before a run has taught its own. */
const ASSUMED_IDLE_RPM = 800
/** Nothing is ever dropped from a run that was opened. */
const keepAll = 2 ** 30

/** Columns of a whole run: what the board sent, and λ laid at the moment that caused it. */
export class RunColumns {
  readonly #sources = new Map<number, ColumnHistory>()
  readonly #channels = new Map<string, TraceChannel & { history: ColumnHistory; column: string }>()

  get channels(): TraceChannel[] {
    return [...this.#channels.values()].map(({ name, unit, derived }) => ({ name, unit, derived }))
  }

  push(block: SampleBlock): void {
    let history = this.#sources.get(block.source)
    if (!history) {
      history = new ColumnHistory(keepAll)
      this.#sources.set(block.source, history)
    }
    const start = history.append(block.count)
    history.timeS.set(block.timeS.subarray(0, block.count), start)
    for (let c = 0; c < block.columns.length; c++) {
      const { name, unit } = block.channels[c]
      const shown = block.source === 0 ? name : `${name} (source ${block.source})`
      if (!this.#channels.has(shown)) {
        if (this.#channels.size >= mostChannels) continue
        this.#channels.set(shown, { name: shown, unit, derived: false, history, column: name })
      }
      history.ensure(name).set(block.columns[c].subarray(0, block.count), start)
    }
  }

  /** Times of the board's samples, for stepping one by one. */
  get board(): ColumnHistory | undefined {
    return this.#sources.get(0) ?? [...this.#sources.values()][0]
  }

  /** Works out λ of each bank and lays it at its cause by a delay a + b / (rpm × kPa), with what the run taught of the throttle; a later call replaces an earlier one. */
  layLambda(
    items: readonly RunItem[],
    car: CarProfile | undefined,
    delay: { aS: number; bSRpmKpa: number },
    learned?: RunLearned,
  ): void {
    const restPct = learned?.throttle_rest_pct ?? 0
    const { throttle_need: need = 1, warm_idle_rpm: idleRpm = ASSUMED_IDLE_RPM } = learned ?? {}
    const known = createRunKnowledge(car)
    for (const item of items) if (item.kind === 'record') takeRecord(known, item, false)
    const { sensor, gains } = settingsOf(known, undefined)
    for (const bank of [1, 2] as const) {
      const suffix = bank === 1 ? '' : '_2'
      const history = new ColumnHistory(keepAll)
      const stage = createLambdaStage({ ...defaultLambdaStageOptions, bank, sensor, gain: gains[bank - 1] })
      let lastS = Number.NEGATIVE_INFINITY
      let found = false
      for (const item of items) {
        if (item.kind === 'event') stage.event(item.event.timeS, item.event.code)
        if (item.kind !== 'block') continue
        const { block } = item
        const pump = column(block, `pump_current${suffix}`, 'mA')
        const board = column(block, `lambda${suffix}`, 'lambda')
        if (!pump && !board) continue
        found = true
        const cell = column(block, `cell_resistance${suffix}`, 'ohm')
        const heater = column(block, `heater_duty${suffix}`, '%')
        const supply = column(block, 'supply', 'V')
        const rpm = column(block, 'engine_speed', 'rpm')
        const map = column(block, 'manifold_pressure', 'kPa')
        const throttle = column(block, 'throttle', '%')
        const start = history.append(block.count)
        const target = history.ensure('lambda')
        const times = history.timeS
        for (let i = 0; i < block.count; i++) {
          const timeS = block.timeS[i]
          const pumpMa = at(pump, i)
          const boardLambda = at(board, i)
          stage.step(
            timeS,
            pumpMa,
            !Number.isNaN(pumpMa),
            at(cell, i),
            at(heater, i),
            boardLambda,
            !Number.isNaN(boardLambda),
            at(supply, i),
          )
          const mapKpa = at(map, i)
          const guessedKpa = () => 100 * guessedLoad(at(rpm, i), at(throttle, i) - restPct, need, idleRpm)
          const flow = flowFigure(at(rpm, i), mapKpa > 0 ? mapKpa : guessedKpa())
          const causedS = timeS - delay.aS - delay.bSRpmKpa / flow
          // Gas does not overtake gas: the moments never go back.
          lastS = Math.max(lastS + 1e-6, causedS)
          times[start + i] = lastS
          target[start + i] = stage.lambda <= mostLambda ? stage.lambda : Number.NaN
        }
      }
      if (!found) continue
      const name = bank === 1 ? lambdaChannel : lambdaChannel2
      this.#channels.set(name, { name, unit: 'lambda', derived: true, history, column: 'lambda' })
    }
  }

  /** Reduces channels to two points a pixel column; NaN is a gap, an infinity no sample on this base. */
  answer(fromS: number, toS: number, columnCount: number, wanted: readonly string[]): TraceAnswer {
    const channels = wanted.filter((name) => this.#channels.has(name))
    const board = this.board
    return {
      id: 0,
      channels,
      timeS: reducedTimes(fromS, toS, columnCount),
      values: channels.map((name) => {
        const { history, column } = this.#channels.get(name)!
        return reduceColumn(history, column, fromS, toS, columnCount)
      }),
      oldestS: board && board.count > 0 ? board.timeS[0] : 0,
      newestS: board && board.count > 0 ? board.timeS[board.count - 1] : 0,
    }
  }
}

interface Column {
  values: Float32Array
  scale: number
  offset: number
}

/** A channel of a block with its way into the inside unit; undefined when the block lacks it. */
function column(block: SampleBlock, name: string, inside: string): Column | undefined {
  const index = block.channels.findIndex((channel) => channel.name === name)
  if (index < 0) return undefined
  const { unit } = block.channels[index]
  const values = block.columns[index]
  if (unit === inside || !isUnitId(unit)) return { values, scale: 1, offset: 0 }
  const { scale, offset } = unitTransfer(unit, { barometerKpa: 101.325, stoichiometricRatio: 14.7 })
  return { values, scale, offset }
}

const at = (from: Column | undefined, i: number) =>
  from ? from.values[i] * from.scale + from.offset : Number.NaN
