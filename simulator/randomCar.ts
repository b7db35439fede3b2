import type { Box, Fitted, Part } from '../core/contract/car.ts'
import { rightSetup } from './cars/commonSetups.ts'
import { chokeNotches, openings, screwTurns } from './cars/partBox.ts'
import { roadFigures } from './cars/roadFigures.ts'
import { channelSets } from './channels.ts'
import type { Drive } from './driveSteps.ts'
import { driveNames, namedDrive } from './drives.ts'
import { expectedLambda } from './expectedLambda.ts'
import { type ParameterChanges, resolveParameters } from './parameters.ts'
import { createRandom, type Random } from './random.ts'
import type { SimulateOptions } from './runOptions.ts'
import type { Setup, SimCar } from './simCar.ts'
import { aimedLambda } from './steadyPoint.ts'

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

interface Shape {
  displacementL: number
  cylinders: number
  primaries: number
  secondaries: number
  redlineRpm: number
  automatic: boolean
  rods: boolean
}

function randomShape(random: Random): Shape {
  const displacementL = Math.round(Math.exp(random.between(Math.log(0.9), Math.log(6.6))) * 10) / 10
  const cylinders =
    displacementL < 2.2
      ? 4
      : displacementL < 3.2
        ? random.pick([4, 6])
        : displacementL < 4.3
          ? random.pick([6, 8])
          : 8
  const primaries = displacementL < 1.5 ? 1 : displacementL < 2.6 ? random.pick([1, 2]) : 2
  const secondaries =
    displacementL > 3.6 && random.uniform() < 0.6 ? 2 : displacementL > 1.8 && primaries === 1 ? 1 : 0
  return {
    displacementL,
    cylinders,
    primaries,
    secondaries,
    redlineRpm: Math.round((6500 - 300 * displacementL + random.between(-400, 400)) / 50) * 50,
    automatic: random.uniform() < (displacementL > 3 ? 0.55 : 0.15),
    rods: random.uniform() < 0.25,
  }
}

/** Venturi for a greatest air speed of about 75 m/s (common practice, no source). */
function venturiMm(flowGS: number, barrels: number, random: Random): number {
  const areaMm2 = (flowGS / 1.15 / (75 * random.between(0.85, 1.2))) * 1000
  return Math.round(Math.sqrt((4 * areaMm2) / Math.PI / barrels) * 2) / 2
}

function carParameters(shape: Shape, random: Random): ParameterChanges {
  const { displacementL, redlineRpm } = shape
  const mostGS = ((displacementL * redlineRpm * 0.85 * 0.85) / 120) * 1.17
  const primaryFlow =
    shape.secondaries > 0 ? (mostGS * shape.primaries) / (shape.primaries + 1.2 * shape.secondaries) : mostGS
  const venturi = venturiMm(primaryFlow, shape.primaries, random)
  const gears = shape.automatic ? 3 : random.pick([4, 4, 5])
  const tyre = random.between(1.7, 2.15)
  const massKg = Math.round(560 + 210 * displacementL + random.between(-80, 220))
  // Top gear turns so fast at 90 km/h; bigger engines are geared longer.
  const topRpm = random.between(2500, 3100) - 130 * displacementL
  const top = gears === 5 ? 0.83 : 1
  const gearing: ParameterChanges = shape.automatic
    ? { 'vehicle.gear_1': 2.5, 'vehicle.gear_2': 1.5, 'vehicle.gear_3': 1 }
    : {
        'vehicle.gear_1': random.between(3, 3.7),
        'vehicle.gear_2': random.between(1.9, 2.2),
        'vehicle.gear_3': random.between(1.3, 1.45),
        'vehicle.gear_4': 1,
        'vehicle.gear_5': 0.83,
      }
  return {
    'engine.displacement_L': displacementL,
    'engine.cylinders': shape.cylinders,
    'engine.idle_rpm': Math.round((930 - 45 * displacementL + random.between(-60, 90)) / 10) * 10,
    'engine.fast_idle_rpm': Math.round(random.between(1350, 1800) / 50) * 50,
    'engine.inertia_kgm2': 0.06 + 0.042 * displacementL,
    'engine.manifold_L': displacementL * random.between(0.9, 1.4),
    'engine.volumetric_efficiency': random.between(0.84, 0.97),
    'engine.peak_torque_rpm': redlineRpm * random.between(0.45, 0.62),
    'engine.redline_rpm': redlineRpm,
    'engine.thermostat_C': random.integer(78, 90),
    'engine.friction_scale': random.between(0.85, 1.15),
    'film.share_scale': random.between(0.8, 1.15),
    'film.time_scale': random.between(0.7, 1.4),
    'carb.primaries': shape.primaries,
    'carb.secondaries': shape.secondaries,
    'carb.venturi_mm': venturi,
    'carb.bore_mm': Math.round(venturi * random.between(1.2, 1.32) * 2) / 2,
    'carb.secondary_venturi_mm': Math.round(venturi * random.between(1.05, 1.2) * 2) / 2,
    'carb.valve_range_inHg': random.between(4.5, 5.5),
    'carb.curb_slot': random.between(0.25, 0.5),
    'exhaust.volume_L': displacementL * random.between(0.6, 1.5),
    'exhaust.mixing_share': random.between(0.12, 0.35),
    'vehicle.mass_kg': massKg,
    'vehicle.drag_area_m2': random.between(0.65, 1.0),
    'vehicle.rolling': random.between(0.011, 0.016),
    'vehicle.tyre_m': tyre,
    'vehicle.final_drive': Math.round((topRpm / ((25 * 60) / tyre) / top) * 100) / 100,
    'vehicle.gears': gears,
    ...gearing,
    'vehicle.automatic': shape.automatic ? 1 : 0,
    'vehicle.stall_rpm': Math.round(random.between(1500, 2000)),
  }
}

function partsOf(shape: Shape, p: ParameterChanges, random: Random): { right: Fitted; box: Box } {
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

/**
 * An invented car from a number: engine, carburettor, gearing, exhaust, parts and a box, its right parts on target. As its
 * maker would, it takes the enrichment valve that puts part throttle nearest to its target.
 */
export function randomCar(seed: number): SimCar {
  const car = draftCar(seed)
  const part = car.right.rod_spring ? 'rod_spring' : 'power_valve'
  const valves = car.box[part]
  const start = valves.findIndex((item) => item.label === car.right[part].label)
  let best = car
  let bestError = Number.POSITIVE_INFINITY
  let index = start
  for (let attempt = 0; attempt < 4; attempt++) {
    const candidate: SimCar = { ...car, right: { ...car.right, [part]: valves[index] } }
    const error =
      expectedLambda(candidate, candidate.right, 'part_throttle').lambda - aimedLambda.part_throttle
    if (Math.abs(error) < bestError) {
      bestError = Math.abs(error)
      best = candidate
    } else break
    index += error > 0 ? 1 : -1
    if (Math.abs(error) < 0.015 || index < 0 || index >= valves.length) break
  }
  return { ...best, setups: { ...best.setups, wrong: randomSetup(seed, best) } }
}

function draftCar(seed: number): SimCar {
  const random = createRandom(seed, 'car')
  const shape = randomShape(random)
  const parameters = carParameters(shape, random)
  const { right, box } = partsOf(shape, parameters, random)
  const name = `random_${seed}`
  const barrels = shape.primaries + shape.secondaries
  return {
    name,
    profile: {
      id: name,
      description: `invented car ${seed}: ${shape.displacementL} l, ${shape.cylinders} cylinders, ${barrels} barrels, ${shape.automatic ? 'automatic' : 'manual'}`,
      engine: {
        displacement_l: shape.displacementL,
        cylinders: shape.cylinders,
        thermostat_C: parameters['engine.thermostat_C'],
      },
      metering: 'carburettor',
      barrels,
      sensor: { curve: 'planar49', bank_names: ['left', 'right'] },
      fuel: { id: 'gasoline_e0' },
      ...roadFigures(parameters),
    },
    parameters,
    right,
    box,
    setups: { right: rightSetup },
  }
}

/** One to three circuits wrong by two to six sizes (jets), screws by a quarter to a whole turn. */
export function randomSetup(seed: number, car: SimCar): Setup {
  const random = createRandom(seed, `setup ${car.name}`)
  const circuits: [string, string, number][] = [
    ['main', 'main_jet', 6],
    ['power', car.right.rod ? 'rod' : 'power_restriction', car.right.rod ? 3 : 4],
    ['idle', 'idle_screws', 5],
  ]
  if (car.right.secondary_jet) circuits.push(['secondary', 'secondary_jet', 7])
  const wrongCount = random.pick([1, 1, 2, 2, 3])
  const fitted: Fitted = {}
  const wrong: string[] = []
  while (wrong.length < Math.min(wrongCount, circuits.length)) {
    const [circuit, part, most] = random.pick(circuits)
    if (wrong.includes(circuit)) continue
    const parts = car.box[part]
    const rightIndex = parts.findIndex((item) => item.label === car.right[part].label)
    const away = random.integer(2, most) * (random.uniform() < 0.5 ? -1 : 1)
    let index: number
    if (part === 'rod') {
      // Of the rods, the power step alone.
      const powerIndex = rightIndex % 7
      index = rightIndex - powerIndex + Math.min(Math.max(powerIndex + away, 0), 6)
    } else index = Math.min(Math.max(rightIndex + away, 0), parts.length - 1)
    if (index === rightIndex) continue
    fitted[part] = parts[index]
    wrong.push(circuit)
  }
  return { text: `wrong: ${wrong.join(', ')}`, fitted, wrong }
}

/** A drive from a number: mostly traffic of 10 to 18 minutes, sometimes a cold start, a test drive or a highway. */
export function randomDrive(seed: number, car: SimCar): Drive {
  const random = createRandom(seed, 'drive choice')
  const p = resolveParameters(car.parameters)
  const dice = random.uniform()
  const name = dice < 0.7 ? 'traffic' : dice < 0.82 ? 'good' : dice < 0.92 ? 'cold_start' : driveNames[3]
  return namedDrive(name, p, seed, random.between(600, 1080))
}

/** Weather, sensor ageing, noise, delay law and wire of a day, from a number: the structure varies, not only the size. */
export function randomNoise(seed: number): ParameterChanges {
  const random = createRandom(seed, 'noise choice')
  const out: ParameterChanges = {
    'air.temperature_C': random.between(2, 36),
    'air.pressure_kPa': random.between(94, 102),
    'air.humidity_pct': random.between(20, 90),
    'sensor.gain': random.between(0.96, 1.04),
    'sensor.lag_s': random.between(0.03, 0.12),
    'sensor.heat_up_s': random.between(8, 25),
    'noise.lambda_scatter': random.between(0.008, 0.03),
    'noise.wander': random.between(0.006, 0.013),
    'noise.pulsation_kPa': random.between(0.2, 2.5),
    'noise.throttle_pct': random.between(0.05, 0.35),
    'noise.throttle_zero_pct': random.between(0, 4),
    'noise.throttle_span': random.between(0.9, 1.03),
    'noise.rpm_share': random.between(0.001, 0.006),
    'line.jitter_ms': random.between(0.2, 6),
    'line.lost_share': random.uniform() < 0.5 ? random.between(0, 0.01) : 0,
    'line.damaged_share': random.uniform() < 0.5 ? random.between(0, 0.01) : 0,
    'line.gaps_per_hour': random.uniform() < 0.4 ? random.between(2, 12) : 0,
  }
  if (random.uniform() < 0.3) {
    out['exhaust.law'] = 1
    out['exhaust.constant_s'] = random.between(0.03, 0.1)
    out['exhaust.idle_s'] = random.between(0.2, 0.6)
    out['exhaust.power'] = random.between(0.55, 1)
  }
  if (random.uniform() < 0.3) out['sensor.lag_to_lean_s'] = out['sensor.lag_s']! * random.between(0.6, 1.8)
  if (random.uniform() < 0.3) out['noise.heavy_tail'] = random.between(0.002, 0.02)
  if (random.uniform() < 0.3) out['noise.idle_drift'] = random.between(0.01, 0.04)
  return out
}

/** Everything of a random run: car, drive, weather, noise, rate and channels. The set-up is right unless `wrong`. */
export function randomRun(seed: number, wrong = false): SimulateOptions {
  const random = createRandom(seed, 'run choice')
  const car = randomCar(seed)
  const dice = random.uniform()
  const channels =
    dice < 0.72
      ? 'usual'
      : random.pick(['no_throttle', 'no_pressure', 'no_barometer', 'no_coolant', 'pump_only', 'speed_only'])
  return {
    car,
    setup: wrong ? 'wrong' : 'right',
    drive: randomDrive(seed, car),
    parameters: randomNoise(seed),
    seed,
    rateHz: random.pick([20, 50, 100, 100, 100, 200]),
    channels: channelSets[channels],
    units: random.uniform() < 0.15 ? 'other' : 'metric',
  }
}
