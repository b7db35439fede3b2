import type { BankReading, LiveReading } from '../contract/live.ts'
import { trust } from '../engine/lambdaStage.ts'
import type { LearnedCar } from '../engine/learnedCar.ts'
import { stateCode, stateNames } from '../engine/operatingState.ts'
import { channelSlots as slot } from './channels.ts'
import type { Row } from './rowReader.ts'
import type { RunSettings } from './runKnowledge.ts'
import type { RunView } from './runView.ts'

/** Makes the Drive page's reading from the live detectors. */
export interface LiveReader {
  note(row: Row): void
  advance(timeS: number): void
  read(): LiveReading
}

/** A λ older than this is shown no more; a channel older than that neither, s. */
const LAMBDA_AGE_S = 0.5
const STALE_S = 1
/** The ten-second memory in half-second parts. */
const MEMORY_PART_S = 0.5
const MEMORY_PARTS = 20

interface Memory {
  readonly part: Float64Array
  readonly least: Float64Array
  readonly most: Float64Array
}

export function createLiveReader(
  view: RunView,
  settings: RunSettings,
  learned: () => LearnedCar,
): LiveReader {
  let nowS = Number.NaN
  let rowS = Number.NaN
  let values: Float64Array | undefined
  const hasSensor = [false, false]
  const memory: [Memory, Memory] = [createMemory(), createMemory()]
  const target = { lambda: Number.NaN, rich: Number.NaN, lean: Number.NaN }

  function remember(bank: 0 | 1, timeS: number): void {
    const { lambda } = view.stages[bank]
    if (Number.isNaN(lambda) || view.track.machine.candidate === stateCode.overrun) return
    const { part, least, most } = memory[bank]
    const number = Math.floor(timeS / MEMORY_PART_S)
    const at = ((number % MEMORY_PARTS) + MEMORY_PARTS) % MEMORY_PARTS
    if (part[at] !== number) {
      part[at] = number
      least[at] = lambda
      most[at] = lambda
    } else {
      if (lambda < least[at]) least[at] = lambda
      if (lambda > most[at]) most[at] = lambda
    }
  }

  function extremes(bank: 0 | 1): [number, number] {
    const { part, least, most } = memory[bank]
    const newest = Math.floor(nowS / MEMORY_PART_S)
    let low = Number.NaN
    let high = Number.NaN
    for (let i = 0; i < MEMORY_PARTS; i++) {
      if (!(part[i] > newest - MEMORY_PARTS && part[i] <= newest)) continue
      if (!(least[i] >= low)) low = least[i]
      if (!(most[i] <= high)) high = most[i]
    }
    return [low, high]
  }

  function readBank(bank: 0 | 1, state: number): BankReading {
    const stage = view.stages[bank]
    const [lambda, atS] = view.newestLambda[bank]
    const [least10s, most10s] = extremes(bank)
    const untrusted = untrustedBecause(stage.reason, state, nowS - atS, nowS - rowS)
    return {
      bank: bank === 0 ? 1 : 2,
      lambda: untrusted ? Number.NaN : lambda,
      lambdaUncertainty: untrusted ? Number.NaN : stage.uncertainty,
      ...(untrusted ? { untrusted } : {}),
      ...(untrusted === 'fault' ? { faultCode: stage.faultCode } : {}),
      warmingPct: stage.warmingPct(),
      least10s,
      most10s,
    }
  }

  return {
    note(row) {
      values = row.value
      rowS = row.timeS
      nowS = row.timeS
      for (const bank of [0, 1] as const) {
        const shift = bank === 0 ? 0 : slot.pump_current_2 - slot.pump_current
        if (row.fresh[slot.pump_current + shift] || row.fresh[slot.lambda + shift]) hasSensor[bank] = true
        remember(bank, row.timeS)
      }
    },
    advance(timeS) {
      if (!(timeS <= nowS)) nowS = timeS
    },
    read() {
      const state = Math.max(0, view.stateNow())
      const car = learned()
      const isStale = !(nowS - rowS <= STALE_S)
      const value = (channel: number) => (isStale || !values ? Number.NaN : values[channel])
      const base = view.track.machine.candidate
      settings.targets.find(target, base, value(slot.coolant))
      const barometerKpa = value(slot.barometer)
      const baro = barometerKpa > 0 ? barometerKpa : car.barometerKpa
      const { warmUp } = view
      return {
        timeS: nowS,
        state: stateNames[state],
        banks: hasSensor[1] ? [readBank(0, base), readBank(1, base)] : [readBank(0, base)],
        targetLambda: target.lambda,
        bandRich: target.rich,
        bandLean: target.lean,
        stoichiometricRatio: settings.fuel.stoichiometricRatio,
        engineSpeedRpm: value(slot.engine_speed),
        throttlePct: value(slot.throttle) - car.throttleRestPct,
        manifoldKpa: isStale ? Number.NaN : view.track.point.mapKpa,
        barometerKpa: baro,
        load: isStale ? Number.NaN : view.track.point.load,
        coolantC: value(slot.coolant),
        intakeAirC: value(slot.intake_air),
        exhaustC: value(slot.exhaust_temperature),
        supplyV: value(slot.supply),
        roadSpeedMs: value(slot.road_speed),
        oilKpa: value(slot.oil_pressure),
        fuelKpa: value(slot.fuel_pressure),
        coverage: view.coverageItems(),
        steady: view.steady.isSteady && !isStale,
        steadyWhyNot: isStale ? 'no data' : view.steady.whyNot,
        alarms: view.alarms.active(),
        warmUp: {
          sinceStartS: warmUp.sinceFireS(),
          stalls: warmUp.stalls(),
          selfIdles: warmUp.idlesByItself(),
        },
      }
    },
  }
}

function untrustedBecause(
  reason: number,
  state: number,
  lambdaAgeS: number,
  rowAgeS: number,
): BankReading['untrusted'] {
  if (!(rowAgeS <= STALE_S)) return 'gap'
  if (reason === trust.fault) return 'fault'
  if (reason === trust.warming) return 'warming'
  if (reason === trust.noSensor) return 'no_sensor'
  if (state === stateCode.overrun) return 'overrun'
  if (reason === trust.outOfRange) return 'out_of_range'
  // The board goes on, but without the mixture.
  return reason === trust.gap || !(lambdaAgeS <= LAMBDA_AGE_S) ? 'no_sensor' : undefined
}

const createMemory = (): Memory => ({
  part: new Float64Array(MEMORY_PARTS).fill(Number.NaN),
  least: new Float64Array(MEMORY_PARTS),
  most: new Float64Array(MEMORY_PARTS),
})
