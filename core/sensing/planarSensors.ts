import { createSensorCurve, type SensorPoint } from './sensorCurve.ts'

const toPoints = (rows: readonly (readonly [number, number])[]): SensorPoint[] =>
  rows.map(([currentMa, lambda]) => ({ currentMa, lambda }))

/**
 * Planar five-wire sensor of the 4.9 generation with pumped reference, nominal and trimmed; λ 1.003 at zero current.
 * Source: Bosch data sheet LSU 4.9 (2010, 2011): rows −1.243 and 0.329 to 1.385 mA, limits, accuracy, 300 Ω; the other
 * rows, 780 °C and the current in air: Bosch Y 258 K01 036-000e (2007), from memory, cross-checked by diffusion laws.
 */
export const planar49 = createSensorCurve({
  name: 'planar, 4.9 generation',
  generation: '4.9',
  points: toPoints([
    [-2.0, 0.65],
    [-1.602, 0.7],
    [-1.243, 0.75],
    [-0.927, 0.8],
    [-0.8, 0.822],
    [-0.652, 0.85],
    [-0.405, 0.9],
    [-0.183, 0.95],
    [-0.106, 0.97],
    [-0.04, 0.99],
    [0, 1.003],
    [0.015, 1.01],
    [0.097, 1.05],
    [0.193, 1.1],
    [0.25, 1.132],
    [0.329, 1.179],
    [0.671, 1.429],
    [0.938, 1.701],
    [1.15, 1.99],
    [1.385, 2.434],
    [1.7, 3.413],
    [2.0, 5.391],
    [2.15, 7.506],
    [2.25, 10.119],
  ]),
  airCurrentMa: 2.54,
  // Fitted to the rows with λ 1.1 and above.
  diffusionConstantMa: 10.83,
  nominalResistanceOhm: 300,
  nominalTemperatureC: 780,
})

/**
 * Planar five-wire sensor of the 4.2 generation, nominal; λ 1.009 at zero current.
 * Source: Bosch data sheet LSU 4.2 (2010) for limits, accuracy and 80 Ω; the characteristic, 750 °C and the current in
 * air: Bosch Y 258 K01 005-000e (2001), from memory.
 */
export const planar42 = createSensorCurve({
  name: 'planar, 4.2 generation',
  generation: '4.2',
  points: toPoints([
    [-1.85, 0.7],
    [-1.08, 0.8],
    [-0.76, 0.85],
    [-0.47, 0.9],
    [0, 1.009],
    [0.34, 1.18],
    [0.68, 1.43],
    [0.95, 1.7],
    [1.4, 2.42],
  ]),
  airCurrentMa: 2.55,
  // From the current in air: 2.55 / ln(1 / (1 − 0.2095)).
  diffusionConstantMa: 10.88,
  nominalResistanceOhm: 80,
  nominalTemperatureC: 750,
})
