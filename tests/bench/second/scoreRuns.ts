import type { Box, Fitted } from '../../../core/contract/car.ts'
import type { AnalysisResult, MixtureState, RunAnalysis } from '../../../core/contract/result.ts'
import { analyseCapture } from '../../../core/pipeline/analyseCapture.ts'
import { pressureRises } from '../pressureRises.ts'
import type { TrueOpening } from '../transientScore.ts'
import { drive, rightSetup, type SecondCar, type SecondTruth, type Setup, type Weather } from './engine.ts'
import { createRandom, type Random } from './random.ts'

/*
 * What the three scores on the second engine share: the states, a box of parts, days and runs.
 */

export const states: MixtureState[] = ['idle', 'cruise', 'part_throttle', 'power']
const sizes = (from: number, to: number, step: number) => {
  const out: { label: string; bore_mm: number }[] = []
  for (let mm = from; mm < to + step / 2; mm += step)
    out.push({ label: String(Math.round(mm * 100)), bore_mm: Number(mm.toFixed(3)) })
  return out
}
export const box: Box = {
  main_jet: sizes(1.55, 2.2, 0.03),
  power_restriction: sizes(1.1, 1.75, 0.05),
  secondary_jet: sizes(1.65, 2.3, 0.05),
  idle_screws: Array.from({ length: 15 }, (_, i) => ({
    label: (0.5 + i * 0.25).toFixed(2),
    turns: 0.5 + i * 0.25,
  })),
}
const partOf = (list: readonly { label: string; bore_mm?: number; turns?: number }[], value: number) =>
  list.reduce((a, b) =>
    Math.abs((b.bore_mm ?? b.turns ?? 0) - value) < Math.abs((a.bore_mm ?? a.turns ?? 0) - value) ? b : a,
  )
export const fittedOf = (s: Setup): Fitted => ({
  main_jet: partOf(box.main_jet, s.mainMm),
  power_restriction: partOf(box.power_restriction, s.powerMm),
  secondary_jet: partOf(box.secondary_jet, s.secondaryMm),
  idle_screws: partOf(box.idle_screws, s.turns),
})
export const setupOf = (f: Fitted): Setup => ({
  mainMm: f.main_jet.bore_mm ?? Number.NaN,
  powerMm: f.power_restriction.bore_mm ?? Number.NaN,
  secondaryMm: f.secondary_jet.bore_mm ?? Number.NaN,
  turns: f.idle_screws.turns ?? Number.NaN,
})
export const randomWeather = (seed: number): Weather => {
  const r = createRandom(seed * 13 + 5)
  return { temperatureC: r.between(2, 36), pressureKpa: r.between(94, 102), humidityPct: r.between(20, 90) }
}
/** Parts about right, as an owner has them before the first change; three draws of `r`. */
export const nearRightSetup = (r: Random): Setup => ({
  ...rightSetup,
  mainMm: rightSetup.mainMm * r.between(0.94, 1.06),
  powerMm: rightSetup.powerMm * r.between(0.9, 1.1),
  turns: r.between(1, 2.2),
})
/** By how much the learned delay is longer than the true one, s. */
export const delayOffS = ({ delay }: AnalysisResult, car: SecondCar, rpm: number, kPa: number): number =>
  delay.a_s - car.delayA - (car.lagUpS + car.lagDownS) / 2 + (delay.b_s_rpm_kPa - car.delayB) / (rpm * kPa)
/** Operating points at which the delay is held against the truth. */
export const IDLE_KPA = 33
export const POWER_RPM = 3000
export const POWER_KPA = 95
/** True openings of the throttle, or what the pressure truly did where the board has no throttle. */
export const openingsOf = (
  result: AnalysisResult,
  truth: SecondTruth,
  barometerKpa: number,
): readonly TrueOpening[] =>
  result.channels_used.includes('throttle')
    ? truth.tipIns
    : pressureRises(
        truth.timeS,
        truth.load.map((load) => load * barometerKpa),
      )
export const quantile = (values: number[], q: number) => {
  const sorted = values.filter((v) => !Number.isNaN(v)).sort((a, b) => a - b)
  return sorted.length === 0 ? Number.NaN : sorted[Math.min(sorted.length - 1, Math.floor(q * sorted.length))]
}
const day = (i: number) => new Date(Date.UTC(2026, 2, 1 + i, 9)).toISOString()
export const show = (name: string, value: unknown) => console.log(`${name.padEnd(52)} ${value}`)

/** One drive of the car with these parts, analysed. */
export function run(
  car: SecondCar,
  fitted: Fitted,
  weather: Weather,
  seed: number,
  seconds: number,
  dayNumber: number,
): { analysis: RunAnalysis; truth: SecondTruth } {
  const { bytes, truth } = drive(car, setupOf(fitted), weather, seed, seconds, day(dayNumber), fitted)
  return { analysis: analyseCapture(bytes), truth }
}
