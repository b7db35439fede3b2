import { channelSets } from './channels.ts'
import type { Drive } from './driveSteps.ts'
import { driveNames, namedDrive } from './drives.ts'
import { type ParameterChanges, resolveParameters } from './parameters.ts'
import { createRandom } from './random.ts'
import { randomCar } from './randomCar.ts'
import type { SimulateOptions } from './runOptions.ts'
import type { SimCar } from './simCar.ts'

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
