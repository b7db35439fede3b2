import type { Engine } from './engine.ts'
import type { Random } from './random.ts'
import type { ResolvedRun } from './runOptions.ts'
import type { LambdaSensor } from './sensor.ts'

/** What a channel reads from. */
export interface ReadingWorld {
  readonly run: ResolvedRun
  readonly engine: Engine
  readonly sensors: readonly LambdaSensor[]
  readonly noise: Random
  readonly pulse: number
}

/** Resistance above which the board's measurement gives no reading, Ω. */
const mostResistanceOhm = 60_000
/** Heavy tails: such readings have this many times the noise. */
const wildFactor = 8

/** A function that reads one channel's sensor now, with its noise, in inside units (road speed in km/h); NaN is no reading. */
export function createChannelReader(name: string, world: ReadingWorld): () => number {
  const { engine, noise } = world
  const { p } = world.run
  const sensor = world.sensors[name.endsWith('_2') ? 1 : 0] ?? world.sensors[0]
  const gauss = (sigma: number) => sigma * noise.normal()
  const wildShare = p['noise.heavy_tail']
  const wild = () => (wildShare > 0 && noise.uniform() < wildShare ? wildFactor : 1)
  switch (name.replace(/_2$/, '')) {
    case 'pump_current':
      return () => sensor.currentMa
    case 'cell_resistance':
      return () => (sensor.resistanceOhm < mostResistanceOhm ? sensor.resistanceOhm : Number.NaN)
    case 'heater_duty':
      return () => sensor.heaterDutyPct
    case 'lambda':
      return () => sensor.readLambda()
    case 'engine_speed': {
      const share = p['noise.rpm_share']
      return () => Math.max(0, engine.rpm * (1 + gauss(share * wild())))
    }
    case 'throttle': {
      const zero = p['noise.throttle_zero_pct']
      const span = p['noise.throttle_span']
      const sigma = p['noise.throttle_pct']
      return () => zero + span * engine.throttlePct + gauss(sigma * wild())
    }
    case 'manifold_pressure': {
      const depth = p['noise.pulsation_kPa']
      const sigma = p['noise.pressure_kPa']
      const idleRpm = p['engine.idle_rpm']
      return () => {
        const { rpm } = engine
        const amplitude = rpm > 60 ? depth * Math.sqrt(idleRpm / Math.max(rpm, 200)) : 0
        return (
          engine.manifoldPa / 1000 + amplitude * Math.sin(2 * Math.PI * world.pulse) + gauss(sigma * wild())
        )
      }
    }
    case 'barometer':
      return () => p['air.pressure_kPa'] + gauss(0.03)
    case 'coolant':
      return () => engine.coolantC + gauss(p['noise.coolant_C'])
    case 'intake_air':
      return () => p['air.temperature_C'] + p['air.underhood_C'] + gauss(0.2)
    case 'oil_pressure':
      return () =>
        (engine.rpm > 100 ? 90 + 0.09 * engine.rpm - 0.6 * Math.max(engine.coolantC - 40, 0) : 0) + gauss(3)
    case 'fuel_pressure':
      return () => (engine.controls.ignition ? 32 - 0.15 * engine.meteredGS : 4) + gauss(0.5)
    case 'exhaust_temperature':
      return () => engine.exhaustC + gauss(2)
    case 'supply':
      return () => (engine.rpm > 400 ? 13.9 : engine.controls.starter ? 10.9 : 12.4) + gauss(0.03)
    case 'road_speed':
      return () => Math.max(0, engine.speedMs * 3.6 + (engine.speedMs > 0.3 ? gauss(0.12) : 0))
    case 'humidity':
      return () => p['air.humidity_pct'] + gauss(0.4)
    case 'secondary':
      return () => engine.secondaryOpen * 100 + gauss(0.2)
    default:
      return () => Number.NaN
  }
}
