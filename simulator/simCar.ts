import type { Box, CarProfile, Fitted, Part } from '../core/contract/car.ts'
import type { ParameterChanges } from './parameters.ts'

/** A named way to have the car set up: parts in place of the right ones, and figures. */
export interface Setup {
  /** What is wrong with it, in words; `right` has none. */
  text: string
  fitted?: Fitted
  parameters?: ParameterChanges
  /** Circuits that this set-up puts out of their band. */
  wrong: readonly string[]
}

/** An invented car: what it is, the parts that suit it, its owner's box, and named set-ups. */
export interface SimCar {
  name: string
  profile: CarProfile
  parameters: ParameterChanges
  /** The parts that put every state on target at reference air. */
  right: Fitted
  box: Box
  setups: Record<string, Setup>
}

/** Flow area of a jet in mm², with its metering rod at the cruise or the power step; NaN without a bore. */
export function jetAreaMm2(jet: Part | undefined, rod?: Part, step: 'cruise' | 'power' = 'cruise'): number {
  if (jet?.bore_mm === undefined) return Number.NaN
  const rodMm = (step === 'cruise' ? rod?.cruise_mm : rod?.power_mm) ?? 0
  return (Math.PI / 4) * Math.max(jet.bore_mm ** 2 - rodMm ** 2, 0)
}
