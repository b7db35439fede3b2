import type { Box, Fitted, Part } from '../core/contract/car.ts'
import { chokeNotches, openings, screwTurns } from './cars/partBox.ts'
import type { ParameterChanges } from './parameters.ts'
import type { Random } from './random.ts'
import type { CarShape } from './randomShape.ts'

/** Parts around a right one: `below` smaller and `above` larger, each bore a step away. */
function row(
  right: number,
  stepShare: number,
  below: number,
  above: number,
  label: (i: number) => string,
): Part[] {
  const out: Part[] = []
  for (let i = -below; i <= above; i++) {
    out.push({ label: label(i), bore_mm: Math.round(right * (1 + stepShare * i) * 1000) / 1000 })
  }
  return out
}

/** The parts that should suit it, and a box of others around each. */
export function partsOf(shape: CarShape, p: ParameterChanges, random: Random): { right: Fitted; box: Box } {
  const number = (first: number, step: number) => (i: number) => String(first + step * i)
  const mainMm = 0.0495 * p['carb.venturi_mm']! * random.between(0.92, 1.08)
  const box: Box = {}
  const right: Fitted = {}
  const count = shape.primaries
  const put = (name: string, parts: Part[], index: number, howMany?: number) => {
    box[name] = parts
    right[name] = howMany === undefined ? parts[index] : { ...parts[index], count: howMany }
  }
  const step = random.between(0.011, 0.024)
  if (shape.rods) {
    const jetMm = mainMm * 1.5
    const cruiseMm = Math.sqrt(jetMm ** 2 - mainMm ** 2)
    const powerMm = Math.sqrt(jetMm ** 2 - 1.28 * mainMm ** 2)
    // The jet's whole bore moves less than the ring: half the step of a plain jet.
    put(
      'main_jet',
      row(jetMm, step * 0.55, 9, 9, number(random.integer(70, 120), random.pick([1, 2]))),
      9,
      count,
    )
    const rods: Part[] = []
    for (let c = -2; c <= 2; c++) {
      for (let w = -3; w <= 3; w++) {
        const cruise_mm = Math.round(cruiseMm * (1 + 0.014 * c) * 1000) / 1000
        const power_mm = Math.round(powerMm * (1 + 0.016 * w) * 1000) / 1000
        rods.push({
          label: `${Math.round(cruise_mm * 100)}/${Math.round(power_mm * 100)}`,
          cruise_mm,
          power_mm,
        })
      }
    }
    put('rod', rods, 2 * 7 + 3, count)
  } else {
    put('main_jet', row(mainMm, step, 9, 9, number(random.integer(60, 130), random.pick([1, 2]))), 9, count)
    put(
      'power_restriction',
      row(mainMm * 0.5, 0.045, 6, 6, number(random.integer(40, 70), random.pick([1, 2]))),
      6,
      count,
    )
  }
  const opens = openings(5, 6, 7, 8, 8.5, 9, 9.5, 10, 11, 12, 13)
  put(shape.rods ? 'rod_spring' : 'power_valve', opens, random.integer(5, 7))
  if (shape.secondaries > 0) {
    put(
      'secondary_jet',
      row(mainMm * 1.2, step, 9, 9, number(random.integer(60, 120), 1)),
      9,
      shape.secondaries,
    )
    const springs = [0.5, 0.7, 1, 1.4, 1.9].map((stiffness, i) => ({
      label: String.fromCharCode(65 + i),
      stiffness,
    }))
    put('opening_spring', springs, 2)
  }
  const screws = screwTurns(0.5, 4)
  put('idle_screws', screws, random.integer(6, 14))
  put(
    'squirter',
    row(0.25 + 0.08 * shape.displacementL, 0.1, 4, 4, number(random.integer(25, 45), random.pick([2, 3, 5]))),
    4,
    count,
  )
  const volume = 0.2 * shape.displacementL + 0.1
  put(
    'pump_cam',
    [0.6, 0.8, 1, 1.25, 1.55].map((f, i) => ({
      label: String(i + 1),
      volume_ml: Math.round(volume * f * 100) / 100,
    })),
    2,
  )
  put('choke', chokeNotches(), 3)
  return { right, box }
}
