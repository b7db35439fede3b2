import type { ConditionedRun } from '../engine/conditionedRun.ts'
import type { DelayLaw } from '../engine/delayLaw.ts'
import { createLambdaStage, defaultLambdaStageOptions, trust } from '../engine/lambdaStage.ts'
import { type LearnedDelay, learnDelay } from '../engine/learnDelay.ts'
import { createCarLearner, type LearnedCar } from '../engine/learnedCar.ts'
import { createSignalConditioner, defaultSignalConditionerOptions } from '../engine/signalConditioner.ts'
import { channelSlots as slot } from './channels.ts'
import type { ColumnStore } from './columnStore.ts'
import { createRowReader, defaultRowReaderOptions } from './rowReader.ts'
import type { RunKnowledge, RunSettings } from './runKnowledge.ts'

/** What a whole run teaches before its result is worked out. */
export interface RunLessons {
  readonly learned: LearnedCar
  readonly delay: LearnedDelay
  /** Slots that carried at least one reading. */
  readonly present: Uint8Array
}

/** Steps of the columns, s: finer than any delay that can be told, and no finer, for speed. */
const STEP_S = 0.024
const LAMBDA_STEP_S = 0.012

/** First pass over the kept rows: rest, idle speed, air pressure, channels seen, transport delay. */
export function learnRun(
  main: ColumnStore,
  others: readonly ColumnStore[],
  known: RunKnowledge,
  settings: RunSettings,
): RunLessons {
  const learner = createCarLearner(settings.limits.warm_C, settings.limits.rest_pct)
  learner.airPressureKpa = known.air?.pressure_kPa ?? Number.NaN
  learner.profileIdleRpm = known.car?.engine?.idle_rpm ?? Number.NaN
  const rows = main.end - main.first
  const seconds = rows > 1 ? main.timeS[main.end - 1] - main.timeS[main.first] : 0
  const run = createConditionedRun(Math.min(rows, Math.ceil(seconds / STEP_S) + 2), rows, seconds)
  const reader = createRowReader(others, { ...defaultRowReaderOptions, inputs: settings.inputs })
  const { row } = reader
  const { value, fresh } = row
  const stage = createLambdaStage({
    ...defaultLambdaStageOptions,
    bank: 1,
    sensor: settings.sensor,
    gain: settings.gains[0],
  })
  let nextLambdaS = Number.NEGATIVE_INFINITY
  const present = new Uint8Array(value.length)
  // Slots that may come and have not yet: soon hardly any.
  const awaited = [
    ...new Set([
      ...main.slots,
      ...others.flatMap(({ slots }) => slots),
      ...settings.inputs.map(({ channelSlot }) => channelSlot),
    ]),
  ]
  const conditioner = createSignalConditioner(
    () => {
      const { timeS, rpm, throttlePct, mapKpa } = conditioner
      learner.add(timeS, rpm, throttlePct, mapKpa, value[slot.coolant])
      if (run.count >= run.timeS.length) return
      const at = run.count++
      run.timeS[at] = timeS
      run.rpm[at] = rpm
      run.throttlePct[at] = throttlePct
      run.mapKpa[at] = mapKpa
    },
    { ...defaultSignalConditionerOptions, stepS: STEP_S },
  )
  let lastS = Number.NaN
  for (let i = main.first; i < main.end; i++) {
    reader.read(main, i)
    const t = row.timeS
    if (t - lastS > 0.6) conditioner.flush()
    lastS = t
    for (let k = awaited.length - 1; k >= 0; k--) {
      if (fresh[awaited[k]] === 0) continue
      present[awaited[k]] = 1
      awaited.splice(k, 1)
    }
    const hasPump = fresh[slot.pump_current] === 1
    const hasLambda = fresh[slot.lambda] === 1
    stage.step(
      t,
      value[slot.pump_current],
      hasPump,
      value[slot.cell_resistance],
      value[slot.heater_duty],
      value[slot.lambda],
      hasLambda,
      value[slot.supply],
    )
    if ((hasPump || hasLambda) && t >= nextLambdaS && run.lambdaCount < run.lambdaS.length) {
      nextLambdaS = t + LAMBDA_STEP_S
      const at = run.lambdaCount++
      run.lambdaS[at] = t
      // Beyond the lean end is air: for the shape of an overrun it counts as very lean.
      run.lambda[at] = stage.reason === trust.outOfRange && value[slot.pump_current] > 0 ? 2 : stage.lambda
    }
    conditioner.push(t, value[slot.engine_speed], value[slot.throttle], value[slot.manifold_pressure])
  }
  conditioner.flush()
  const learned = learner.learned()
  const own = known.car?.delay
  const earlier: DelayLaw | undefined = own && { aS: own.a_s, bSRpmKpa: own.b_s_rpm_kPa, flow: 'plug' }
  const delay = learnDelay(run, {
    throttleRestPct: learned.throttleRestPct,
    warmIdleRpm: learned.warmIdleRpm,
    barometerKpa: learned.barometerKpa,
    earlier,
    earlierEvents: own?.events_used ?? 0,
  })
  return { learned, delay, present }
}

function createConditionedRun(points: number, rows: number, seconds: number): ConditionedRun {
  const lambdas = Math.min(rows, Math.ceil(seconds / LAMBDA_STEP_S) + 2)
  return {
    count: 0,
    timeS: new Float64Array(points),
    rpm: new Float64Array(points),
    throttlePct: new Float64Array(points),
    mapKpa: new Float64Array(points),
    lambdaCount: 0,
    lambdaS: new Float64Array(lambdas),
    lambda: new Float64Array(lambdas),
  }
}
