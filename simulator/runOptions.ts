import type { Air, Fitted } from '../core/contract/car.ts'
import type { Drive } from './driveSteps.ts'
import { type DriveName, driveNames, namedDrive } from './drives.ts'
import { nearNames, type ParameterChanges, type ParameterValues, resolveParameters } from './parameters.ts'
import type { SimCar } from './simCar.ts'

export interface SimulateOptions {
  car: SimCar
  /** Named set-up of the car, default `right`. */
  setup?: string
  /** Parts in place of those of the set-up. */
  fitted?: Fitted
  /** Figures in place of the car's and the set-up's. */
  parameters?: ParameterChanges
  /** Name of a drive, or a drive; default `good`. */
  drive?: DriveName | Drive
  /** Default 1. Same options and seed, same bytes. */
  seed?: number
  /** Ends the run earlier than the drive; also sets the length of `traffic` and `highway`. */
  seconds?: number
  /** Samples a second, 20 … 500, default 100. */
  rateHz?: number
  /** Channel names or the name of a set, default `usual`. */
  channels?: string | readonly string[]
  /** Units that the board declares, default `metric`. */
  units?: 'metric' | 'other'
  /** A position receiver as source 1. */
  gps?: boolean
  /** Start of the run, ISO 8601 with offset; default a fixed day. */
  at?: string
  /** With false no truth is kept: live sources run for days. */
  keepTruth?: boolean
}

const defaultAt = '2024-05-04T09:00:00.000Z'

/** Parameters, parts and drive of a run, resolved. */
export interface ResolvedRun {
  p: ParameterValues
  changes: ParameterChanges
  fitted: Fitted
  drive: Drive
  seed: number
  rateHz: number
  setup: string
  /** Start, milliseconds since 1970. */
  startMs: number
}

/** Parts of a set-up laid over the right ones, then others over those; how many of a part are fitted stays. */
export function layFitted(car: SimCar, ...layers: (Fitted | undefined)[]): Fitted {
  const out: Fitted = { ...car.right }
  for (const layer of layers) {
    for (const [name, part] of Object.entries(layer ?? {})) {
      const count = car.right[name]?.count
      out[name] = count === undefined ? part : { ...part, count }
    }
  }
  return out
}

/**
 * Settles what a run is made of.
 * @throws RangeError for an unknown set-up or drive, a rate, seed or date out of range
 */
export function resolveRun(options: SimulateOptions): ResolvedRun {
  const { car } = options
  const setupName = options.setup ?? 'right'
  const setup = car.setups[setupName]
  if (!setup) {
    const names = Object.keys(car.setups)
    const near = nearNames(setupName, names)
    throw new RangeError(
      `unknown setup of ${car.name}: ${setupName} (expected ${(near.length > 0 ? near : names).join(', ')})`,
    )
  }
  const changes: ParameterChanges = { ...car.parameters, ...setup.parameters, ...options.parameters }
  const p = resolveParameters(changes)
  const rateHz = options.rateHz ?? 100
  if (!(rateHz >= 20 && rateHz <= 500)) throw new RangeError(`invalid rateHz: ${rateHz} (expected 20 … 500)`)
  const seed = options.seed ?? 1
  if (!Number.isInteger(seed)) throw new RangeError(`invalid seed: ${seed} (expected a whole number)`)
  const startMs = Date.parse(options.at ?? defaultAt)
  if (Number.isNaN(startMs))
    throw new RangeError(`invalid at: ${options.at} (expected ISO 8601, e.g. ${defaultAt})`)
  const drive = options.drive ?? 'good'
  return {
    p,
    changes,
    fitted: layFitted(car, setup.fitted, options.fitted),
    drive: typeof drive === 'string' ? driveByName(drive, p, seed, options.seconds) : drive,
    seed,
    rateHz,
    setup: setupName,
    startMs,
  }
}

function driveByName(name: string, p: ParameterValues, seed: number, seconds?: number): Drive {
  if (!(driveNames as readonly string[]).includes(name)) {
    throw new RangeError(`unknown drive: ${name} (expected ${driveNames.join(', ')}, or a file)`)
  }
  return namedDrive(name as DriveName, p, seed, seconds)
}

/** The air of a run as a record says it. */
export function airOf(p: ParameterValues): Air {
  return {
    temperature_C: p['air.temperature_C'],
    pressure_kPa: p['air.pressure_kPa'],
    humidity_pct: p['air.humidity_pct'],
  }
}
