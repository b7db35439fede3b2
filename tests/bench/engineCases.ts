import { cars, findCar } from '../../simulator/cars.ts'
import type { ParameterChanges } from '../../simulator/parameters.ts'
import { createRandom } from '../../simulator/random.ts'
import { type SimulatedRun, simulateRun } from '../../simulator/run.ts'

/** One random car and drive. */
export interface EngineCase {
  readonly seed: number
  readonly car: string
  readonly drive: 'traffic' | 'good' | 'cold_start' | 'highway' | 'pulls'
  readonly rateHz: number
  readonly channels: string
  readonly setup: string
  readonly parameters: ParameterChanges
  readonly seconds: number | undefined
}

/**
 * A case by its number: the structure varies as well as the figures (delay law, mixing, lag that differs by direction, heavy-tailed noise, drifting
 * idle, automatic gearbox, throttle zero and span), most drives are traffic, and lines get lost.
 */
export function engineCase(seed: number): EngineCase {
  const r = createRandom(seed, 'engine bench')
  const car = r.pick(cars)
  const u = r.uniform()
  const drive =
    u < 0.68 ? 'traffic' : u < 0.8 ? 'good' : u < 0.9 ? 'cold_start' : u < 0.95 ? 'highway' : 'pulls'
  const channelDraw = r.uniform()
  const channels =
    channelDraw < 0.72
      ? 'usual'
      : channelDraw < 0.8
        ? 'no_barometer'
        : channelDraw < 0.86
          ? 'no_coolant'
          : channelDraw < 0.92
            ? 'no_throttle'
            : channelDraw < 0.97
              ? 'no_pressure'
              : 'all'
  const lag = r.between(0.03, 0.12)
  const parameters: ParameterChanges = {
    'air.temperature_C': r.between(2, 34),
    'air.pressure_kPa': r.between(92, 103),
    'air.humidity_pct': r.between(20, 90),
    'engine.idle_rpm': r.between(620, 950),
    // A larger engine has the wider pipe.
    'exhaust.volume_L': r.between(0.5, 1.3) * Number(car.parameters['engine.displacement_L'] ?? 2.5),
    'exhaust.mixing_share': r.between(0.05, 0.4),
    'exhaust.law': r.uniform() < 0.3 ? 1 : 0,
    'exhaust.constant_s': r.between(0.02, 0.08),
    'exhaust.idle_s': r.between(0.25, 0.6),
    'exhaust.power': r.between(0.75, 1.1),
    'sensor.lag_s': lag,
    'sensor.lag_to_lean_s': lag * r.between(0.6, 1.6),
    'sensor.gain': r.between(0.96, 1.04),
    'sensor.noise_mA': r.between(0.001, 0.01),
    'noise.lambda_scatter': r.between(0.005, 0.025),
    'noise.wander': r.between(0.005, 0.012),
    'noise.pulsation_kPa': r.between(0.3, 2),
    'noise.pressure_kPa': r.between(0.05, 0.4),
    'noise.throttle_pct': r.between(0.05, 0.4),
    'noise.throttle_zero_pct': r.between(-2, 6),
    'noise.throttle_span': r.between(0.93, 1.05),
    'noise.rpm_share': r.between(0.001, 0.006),
    'noise.heavy_tail': r.uniform() < 0.3 ? r.between(0.002, 0.02) : 0,
    'noise.idle_drift': r.uniform() < 0.3 ? r.between(0.02, 0.08) : 0,
    'film.share_scale': r.between(0.7, 1.2),
    'film.time_scale': r.between(0.6, 1.5),
    'carb.pump_scale': r.pick([0.25, 0.4, 0.8, 1, 1, 1, 1.3, 1.8]),
    'carb.pump_delay_s': r.pick([0.02, 0.02, 0.02, 0.3]),
    'line.jitter_ms': r.between(0.2, 5),
    'line.lost_share': r.between(0, 0.004),
    'line.damaged_share': r.between(0, 0.002),
    'line.gaps_per_hour': r.uniform() < 0.5 ? r.between(2, 15) : 0,
    'vehicle.automatic': r.uniform() < 0.35 ? 1 : 0,
    'vehicle.mass_kg': r.between(850, 1800),
    'driver.tremble_pct': r.between(0.1, 0.5),
  }
  const setups = Object.keys(car.setups)
  return {
    seed,
    car: car.name,
    drive,
    rateHz: r.pick([20, 25, 50, 100, 100, 100, 200]),
    channels,
    setup: r.uniform() < 0.5 ? 'right' : r.pick(setups),
    parameters,
    seconds: drive === 'traffic' ? 720 : drive === 'highway' ? 480 : drive === 'cold_start' ? 900 : undefined,
  }
}

/** Makes the case's run. */
export function makeRun(c: EngineCase): SimulatedRun {
  return simulateRun({
    car: findCar(c.car),
    setup: c.setup,
    parameters: c.parameters,
    drive: c.drive,
    seed: c.seed,
    rateHz: c.rateHz,
    channels: c.channels,
    ...(c.seconds === undefined ? {} : { seconds: c.seconds }),
  })
}
