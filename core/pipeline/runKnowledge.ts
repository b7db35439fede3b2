import type { Air, CarProfile, Fitted, Targets } from '../contract/car.ts'
import type { CaptureRecord, TimedRecord } from '../contract/records.ts'
import { type AlarmLimits, alarmLimits } from '../engine/alarmLimits.ts'
import { type StateLimits, stateLimits } from '../engine/stateLimits.ts'
import { createTargetFinder, type TargetFinder } from '../engine/targetLambda.ts'
import { type Fuel, fuelInTank } from '../fuel/fuels.ts'
import { freeAirGain } from '../sensing/freeAir.ts'
import { planar49 } from '../sensing/planarSensors.ts'
import type { SensorCurve } from '../sensing/sensorCurve.ts'
import { parseSensorCurve } from '../sensing/userSensor.ts'
import { type InputSettings, readInputs } from './inputTransfers.ts'
import type { InputTransfer } from './rowReader.ts'

/** What the records and options say of a run, with later records in place of earlier ones. */
export interface RunKnowledge {
  car: CarProfile | undefined
  start: string | undefined
  startMs: number
  /** Time zone of the place, as the start names it. */
  zone: string | undefined
  carName: string | undefined
  /** What metered the fuel, as the run's own record says also where another profile is given. */
  metering: CarProfile['metering']
  /** The fuel in the tank, likewise. */
  fuel: CarProfile['fuel']
  title: string | undefined
  fitted: Fitted | undefined
  air: Air | undefined
  stop: string | undefined
  readonly marks: { t_s: number; label: string }[]
  readonly notes: { t_s: number; text: string }[]
  /** Recorded current in air by bank, mA; NaN for none. */
  readonly freeAirMa: [number, number]
  /** What of the car's profile could not be used, in words. */
  readonly problems: string[]
}

export function createRunKnowledge(car: CarProfile | undefined): RunKnowledge {
  return {
    car,
    start: undefined,
    startMs: Number.NaN,
    zone: undefined,
    carName: car?.id,
    metering: undefined,
    fuel: undefined,
    title: undefined,
    fitted: undefined,
    air: undefined,
    stop: undefined,
    marks: [],
    notes: [],
    freeAirMa: [Number.NaN, Number.NaN],
    problems: [],
  }
}

/** Takes a record. True when it changes what the detectors work with. */
export function takeRecord(known: RunKnowledge, { timeS, record }: TimedRecord, carWins: boolean): boolean {
  const r = record as CaptureRecord
  switch (r.type) {
    case 'start':
      known.start = r.at
      known.startMs = Date.parse(r.at)
      known.zone = r.zone
      known.carName = r.car ?? known.carName
      return false
    case 'car':
      known.metering = r.car.metering
      known.fuel = r.car.fuel
      if (carWins && known.car) return false
      known.car = r.car
      known.carName = r.car.id
      return true
    case 'fitted':
      known.fitted = r.fitted
      return false
    case 'air': {
      const { type: _type, ...air } = r
      known.air = air
      return true
    }
    case 'mark':
      known.marks.push({ t_s: timeS, label: r.label })
      return false
    case 'note':
      known.notes.push({ t_s: timeS, text: r.text })
      return false
    case 'title':
      known.title = r.text
      return false
    case 'stop':
      known.stop = r.reason ?? ''
      return false
    case 'free_air':
      known.freeAirMa[r.bank - 1] = r.current_mA
      return true
    default:
      return false
  }
}

/** The detectors' settings that follow from what is known. */
export interface RunSettings {
  readonly limits: StateLimits
  readonly targets: TargetFinder
  readonly alarmLimits: AlarmLimits
  readonly sensor: SensorCurve
  /** By bank; NaN without a free-air record. */
  readonly gains: [number, number]
  readonly inputs: InputTransfer[]
  /** Of a λ that comes as a voltage, by bank. */
  readonly outputUncertainty: InputSettings['outputUncertainty']
  readonly fuel: Fuel
  readonly thermostatC: number
  /** Throttle need that earlier runs taught; NaN for none. */
  readonly throttleNeed: number
  /** The car has secondary barrels, by its parts or its profile. */
  readonly hasSecondaries: boolean
}

/** Gains beyond this are no aged sensor: the record was not taken in air. */
const LEAST_GAIN = 0.7
const MOST_GAIN = 1.3
/** Common thermostat of an older car, °C; reference pack, warm-up set: 82 to 92. */
const USUAL_THERMOSTAT_C = 85

const secondaryParts: readonly string[] = ['secondary_jet', 'secondary_plate', 'opening_spring']

/** A profile that lists circuits has the last word; else the parts tell. */
function hasSecondaries({ car, fitted }: RunKnowledge): boolean {
  if (car?.circuits) return car.circuits.includes('secondary')
  return Object.keys(fitted ?? {}).some((part) => secondaryParts.includes(part))
}

export function settingsOf(known: RunKnowledge, ownTargets: Targets | undefined): RunSettings {
  const { car } = known
  known.problems.length = 0
  const attempt = <T>(make: () => T, fallback: T): T => {
    try {
      return make()
    } catch (error) {
      // A profile is the owner's own text: what cannot be used is said in the result, and the rest of the run is still read.
      known.problems.push(error instanceof Error ? error.message : String(error))
      return fallback
    }
  }
  const limits = stateLimits(car?.state_limits)
  const sensor = attempt(() => parseSensorCurve(car?.sensor?.curve), planar49)
  const gainOf = (recordedMa: number) => {
    const gain = freeAirGain(recordedMa, sensor)
    if (gain >= LEAST_GAIN && gain <= MOST_GAIN) return gain
    if (!Number.isNaN(recordedMa))
      known.problems.push(`free-air current ${recordedMa} mA is no sensor in air; not used`)
    return Number.NaN
  }
  const { inputs, outputUncertainty } = readInputs(car, attempt)
  return {
    limits,
    targets: createTargetFinder({ ...car?.targets, ...ownTargets }, limits.warm_C),
    alarmLimits: alarmLimits(car?.limits),
    sensor,
    gains: [gainOf(known.freeAirMa[0]), gainOf(known.freeAirMa[1])],
    inputs,
    outputUncertainty,
    fuel: attempt(() => fuelInTank(car?.fuel), fuelInTank()),
    throttleNeed: car?.throttle_need?.factor ?? Number.NaN,
    thermostatC: car?.engine?.thermostat_C ?? USUAL_THERMOSTAT_C,
    hasSecondaries: hasSecondaries(known),
  }
}
