import type { Air, Box, Fitted, Part } from '../../core/contract/car.ts'
import type { RunAnalysis } from '../../core/contract/result.ts'
import { analyseCapture } from '../../core/pipeline/analyseCapture.ts'
import { cars, type ParameterChanges, type SimCar, simulateRun } from '../../simulator/index.ts'
import { createNoise } from '../support/syntheticRun.ts'

/** A simulated car drawn at random: one of the invented ones with its build, sensor and roads varied. */
export interface RandomCar {
  car: SimCar
  parameters: ParameterChanges
}

export function randomCar(seed: number): RandomCar {
  const noise = createNoise(seed * 17 + 5)
  const car = cars[Math.floor(noise.uniform() * cars.length)]
  const parameters: ParameterChanges = {
    'film.share_scale': noise.between(0.7, 1.3),
    'sensor.gain': noise.between(0.96, 1.04),
    'sensor.free_air': 1,
    'sensor.lag_s': noise.between(0.04, 0.12),
    'noise.wander': noise.between(0.004, 0.012),
    'noise.lambda_scatter': noise.between(0.008, 0.02),
    'noise.throttle_zero_pct': noise.between(-1, 3),
  }
  return { car, parameters }
}

export function randomAir(seed: number): Air {
  const noise = createNoise(seed * 29 + 11)
  return {
    temperature_C: noise.between(2, 36),
    pressure_kPa: noise.between(94, 102),
    humidity_pct: noise.between(20, 90),
  }
}

/** One drive in traffic, analysed; warm from its start unless told otherwise. */
export function drive(
  { car, parameters }: RandomCar,
  fitted: Fitted,
  air: Air,
  seed: number,
  seconds: number,
  dayNumber: number,
  startsCold = false,
): RunAnalysis {
  const { bytes } = simulateRun({
    car,
    fitted,
    seed,
    seconds,
    drive: 'traffic',
    rateHz: 50,
    at: new Date(Date.UTC(2024, 4, 1 + dayNumber, 9)).toISOString(),
    parameters: {
      ...parameters,
      'air.temperature_C': air.temperature_C,
      'air.pressure_kPa': air.pressure_kPa,
      'air.humidity_pct': air.humidity_pct,
      ...(startsCold ? { 'engine.start_coolant_C': air.temperature_C } : {}),
    },
  })
  return analyseCapture(bytes)
}

/** True steady λ per state at reference air over a long drive, without wander. */
export function trueLambda(
  { car, parameters }: RandomCar,
  fitted: Fitted,
  seed: number,
): Record<string, number> {
  const { truth } = simulateRun({
    car,
    fitted,
    seed,
    seconds: 900,
    drive: 'traffic',
    rateHz: 20,
    parameters: { ...parameters, 'noise.wander': 0 },
  })
  const out: Record<string, number> = {}
  for (const [state, steady] of Object.entries(truth.steady[0])) {
    if (steady && steady.seconds >= 4) out[state] = steady.meanStill
  }
  return out
}

const around = (right: number, step: number, count: number) =>
  Array.from({ length: 2 * count + 1 }, (_, i) => Math.round((right + (i - count) * step) * 1000) / 1000)

/** A well-filled box about the car's right parts. */
export function boxFor(car: SimCar): Box {
  const box: Box = {}
  const steps: Record<string, number> = {
    main_jet: 0.03,
    secondary_jet: 0.04,
    power_restriction: 0.05,
    squirter: 0.05,
  }
  for (const [name, step] of Object.entries(steps)) {
    const part: Part | undefined = car.right[name]
    if (part?.bore_mm === undefined) continue
    box[name] = around(part.bore_mm, step, 7)
      .filter((mm) => mm > 0.3)
      .map((mm) => ({ label: String(Math.round(mm * 100)), bore_mm: mm }))
  }
  if (car.right.idle_screws?.turns !== undefined) {
    box.idle_screws = Array.from({ length: 15 }, (_, i) => ({
      label: (0.5 + i / 4).toFixed(2),
      turns: 0.5 + i / 4,
    }))
  }
  return box
}

/** A wrong set-up: each circuit is off with a chance of one half, by a few sizes either way. */
export function wrongSetup(car: SimCar, box: Box, seed: number): Fitted {
  const noise = createNoise(seed * 41 + 3)
  const fitted: Fitted = { ...car.right }
  for (const [name, sizes] of Object.entries(box)) {
    if (name === 'squirter' || noise.uniform() < 0.4) continue
    const right = sizes.findIndex((part) => near(part, car.right[name]))
    const steps = Math.round(noise.between(2, 4.4)) * (noise.uniform() < 0.5 ? -1 : 1)
    const index = Math.max(0, Math.min(sizes.length - 1, right + steps))
    fitted[name] = sizes[index]
  }
  return fitted
}

function near(part: Part, other: Part | undefined): boolean {
  if (part.turns !== undefined) return Math.abs(part.turns - (other?.turns ?? 0)) < 0.13
  return Math.abs((part.bore_mm ?? 0) - (other?.bore_mm ?? 0)) < 0.002
}
