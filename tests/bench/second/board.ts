import type { SecondCar, Weather } from './engine.ts'
import type { Random } from './random.ts'
import { lambdaAt } from './sensorRows.ts'

/** What the board's sensors see at a sample. */
export interface SensedMoment {
  timeS: number
  currentMa: number
  rpm: number
  throttlePct: number
  mapKpa: number
}

export interface BoardChannel {
  name: string
  unit: string
  scale: number
  read(moment: SensedMoment): number
}

/** The board's channels with their noise. */
export function channelsOf(car: SecondCar, weather: Weather, r: Random): BoardChannel[] {
  const pumpMa = (m: SensedMoment) => m.currentMa * car.sensorGain + car.noiseMa * r.normal()
  const all: BoardChannel[] = [
    { name: 'pump_current', unit: 'mA', scale: 0.001, read: pumpMa },
    { name: 'cell_resistance', unit: 'ohm', scale: 1, read: () => 300 + 4 * r.normal() },
    {
      name: 'lambda',
      unit: '1',
      scale: 0.001,
      // The device trims its own sensor in air, as well as the driver does.
      read: (m) => lambdaAt(pumpMa(m) / (car.sensorGain * (1 + car.recordedGainError))),
    },
    { name: 'engine_speed', unit: 'rpm', scale: 1, read: (m) => m.rpm + 6 * r.normal() },
    {
      name: 'throttle',
      unit: '%',
      scale: 0.1,
      read: (m) => m.throttlePct * car.throttleSpan + car.throttleZero + 0.25 * r.normal(),
    },
    {
      name: 'manifold_pressure',
      unit: 'kPa',
      scale: 0.1,
      read: (m) => m.mapKpa + 1.2 * Math.sin(m.timeS * m.rpm * 0.21) + 0.5 * r.normal(),
    },
    { name: 'coolant', unit: 'C', scale: 0.1, read: () => 86 + 0.2 * r.normal() },
    { name: 'barometer', unit: 'kPa', scale: 0.1, read: () => weather.pressureKpa },
  ]
  const set = car.channels
  const left: string[] = set === 'lambda_board' ? ['pump_current', 'cell_resistance'] : ['lambda']
  if (set === 'no_throttle') left.push('throttle')
  if (set === 'no_pressure') left.push('manifold_pressure', 'barometer')
  if (set === 'no_coolant') left.push('coolant')
  if (!car.barometerChannel) left.push('barometer')
  return all.filter(({ name }) => !left.includes(name))
}
