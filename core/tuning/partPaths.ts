import type { Circuit, Fitted, Part } from '../contract/car.ts'
import type { MixtureState } from '../contract/result.ts'
import { jetAreaMm2, rodJetAreaMm2 } from './jetArea.ts'

/** States that advice reasons about, in the order of the trade. */
export const adviceStates = ['idle', 'cruise', 'part_throttle', 'power', 'running'] as const
export type AdviceState = (typeof adviceStates)[number]

/** A way that fuel (or bleed air) takes: parts that change its opening, and how much of each state's fuel is thought to pass it. */
export interface FuelPath {
  readonly id: string
  readonly circuit: Circuit
  /** Part whose size is the opening. */
  readonly part: string
  /** Metering rod that narrows it, if the carburettor has one. */
  readonly rod?: string
  /** +1: a larger opening is richer; −1: an air bleed, larger is leaner. */
  readonly sense: 1 | -1
  /** Share of the state's fuel that passes here, mean and standard deviation before this car has told its own. */
  readonly share: Readonly<Partial<Record<AdviceState, readonly [mean: number, sd: number]>>>
}

/**
 * Shares before any swap. Main in cruise 0.80 ± 0.20 and in power 0.65 ± 0.20: common practice, no source. The rest of each state's
 * fuel is spread over the other paths, with standard deviations wide enough that one swap outweighs them. Screws sit in line with a fixed
 * feed and beside the transfer slot, so that fuel follows their turns with a power well below 1.
 */
export const fuelPaths: readonly FuelPath[] = Object.freeze([
  {
    id: 'idle_screws',
    circuit: 'idle',
    part: 'idle_screws',
    sense: 1,
    share: { idle: [0.45, 0.2], cruise: [0.06, 0.06], part_throttle: [0.03, 0.04], power: [0.01, 0.02] },
  },
  ...['idle_jet', 'idle_feed', 'idle_feed_restriction'].map(
    (part): FuelPath => ({
      id: part,
      circuit: 'idle',
      part,
      sense: 1,
      share: { idle: [0.85, 0.2], cruise: [0.15, 0.12], part_throttle: [0.06, 0.06], power: [0.02, 0.03] },
    }),
  ),
  {
    id: 'idle_air_bleed',
    circuit: 'idle',
    part: 'idle_air_bleed',
    sense: -1,
    share: { idle: [0.4, 0.25], cruise: [0.06, 0.06], part_throttle: [0.03, 0.04] },
  },
  {
    id: 'main',
    circuit: 'main',
    part: 'main_jet',
    rod: 'rod',
    sense: 1,
    share: {
      idle: [0.08, 0.12],
      cruise: [0.8, 0.2],
      part_throttle: [0.78, 0.2],
      power: [0.65, 0.2],
      running: [0.75, 0.2],
    },
  },
  {
    id: 'main_air_bleed',
    circuit: 'main',
    part: 'main_air_bleed',
    sense: -1,
    share: { cruise: [0.1, 0.1], part_throttle: [0.15, 0.1], power: [0.2, 0.12] },
  },
  {
    id: 'power',
    circuit: 'power',
    part: 'power_restriction',
    sense: 1,
    share: { part_throttle: [0.07, 0.08], power: [0.25, 0.13] },
  },
  {
    id: 'secondary',
    circuit: 'secondary',
    part: 'secondary_jet',
    rod: 'secondary_rod',
    sense: 1,
    share: { part_throttle: [0.03, 0.05], power: [0.2, 0.15] },
  },
  {
    id: 'secondary_plate',
    circuit: 'secondary',
    part: 'secondary_plate',
    sense: 1,
    share: { part_throttle: [0.03, 0.05], power: [0.2, 0.15] },
  },
])

/** Parts that open the enrichment at a vacuum: a valve, or the spring under a metering rod. */
export const valveParts = ['power_valve', 'rod_spring'] as const

/** The part of these that sets the opening vacuum, if one is fitted with a figure. */
export function valveOf(fitted: Fitted): { name: string; opensInHg: number } | undefined {
  for (const name of valveParts) {
    const opensInHg = fitted[name]?.opens_inHg
    if (opensInHg !== undefined) return { name, opensInHg }
  }
  return undefined
}

/** Least opening, mm² or turns, that still divides: a screw fully in is closed, and a ratio to it means nothing. */
const LEAST_OPENING = 1e-3

/** Circuit of a part by its name; undefined for a part that this program does not know. */
export function circuitOfPart(part: string): Circuit | undefined {
  const path = fuelPaths.find((entry) => entry.part === part || entry.rod === part)
  if (path) return path.circuit
  return OTHER_PARTS[part]
}

const OTHER_PARTS: Readonly<Record<string, Circuit>> = {
  power_valve: 'power',
  rod_spring: 'power',
  squirter: 'pump',
  pump_cam: 'pump',
  pump_stroke: 'pump',
  opening_spring: 'secondary',
  choke: 'choke',
  acceleration_enrichment: 'pump',
  cold_enrichment: 'choke',
}

/**
 * Opening of one part: area, mm², of its bore, or its flow figure, or turns of a screw. A rod takes its ring away: at the
 * power step in the power state, else at the cruise step. NaN when the part names no size, or the rod fills the bore.
 */
export function openingOf(part: Part | undefined, state: MixtureState, rod?: Part): number {
  if (!part) return Number.NaN
  if (part.turns !== undefined) return part.turns > LEAST_OPENING ? part.turns : Number.NaN
  if (part.bore_mm === undefined) return part.flow ?? Number.NaN
  const rodMm = rodStepMm(rod, state)
  if (rodMm === undefined || rodMm === 0) return jetAreaMm2(part.bore_mm)
  // What is left of the bore is known only if the rod is, and is thinner.
  return rodMm < part.bore_mm ? rodJetAreaMm2(part.bore_mm, rodMm) : Number.NaN
}

/** Diameter of a rod, mm, where it sits in a state: one that notes a single step is taken for straight. NaN for a rod without any, undefined without a rod. */
export function rodStepMm(rod: Part | undefined, state: MixtureState): number | undefined {
  if (!rod) return undefined
  const { cruise_mm, power_mm } = rod
  return (state === 'power' ? (power_mm ?? cruise_mm) : (cruise_mm ?? power_mm)) ?? Number.NaN
}

/**
 * How many times larger a path's opening is in `to` than in `from`; NaN when either cannot be told. How many of a part are fitted
 * counts only where both sets say it: a box lists single jets.
 */
export function pathFactor(path: FuelPath, from: Fitted, to: Fitted, state: MixtureState): number {
  const a = openingOf(from[path.part], state, path.rod ? from[path.rod] : undefined)
  const b = openingOf(to[path.part], state, path.rod ? to[path.rod] : undefined)
  const countA = from[path.part]?.count
  const countB = to[path.part]?.count
  return (b / a) * (countA !== undefined && countB !== undefined ? countB / countA : 1)
}

/** The paths that a car has: those whose part is fitted with a size, of the circuits that its profile names, if it does. */
export function pathsOf(fitted: Fitted, circuits?: readonly Circuit[]): FuelPath[] {
  return fuelPaths.filter(
    (path) =>
      hasCircuit(path.circuit, circuits) &&
      openingOf(fitted[path.part], 'cruise', path.rod ? fitted[path.rod] : undefined) > 0,
  )
}

/** True for a circuit of the car: all, unless its profile names them. Idle and transfer share their feeds. */
export function hasCircuit(circuit: Circuit, circuits: readonly Circuit[] | undefined): boolean {
  return (
    circuits === undefined ||
    circuits.includes(circuit) ||
    (circuit === 'idle' && circuits.includes('transfer'))
  )
}

/** True when two parts are the same size, whatever their labels' spelling. */
export function isSamePart(a: Part | undefined, b: Part | undefined): boolean {
  if (!a || !b) return a === b
  const keys = ['bore_mm', 'flow', 'turns', 'opens_inHg', 'volume_ml', 'cruise_mm', 'power_mm'] as const
  let sized = false
  for (const key of keys) {
    if (a[key] !== undefined && b[key] !== undefined) {
      sized = true
      if (Math.abs(a[key] - b[key]) > 1e-6) return false
    }
  }
  return sized || a.label.trim().toLowerCase() === b.label.trim().toLowerCase()
}
