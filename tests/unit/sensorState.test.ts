import { describe, expect, test } from 'vitest'
import { boardFault, supplyVerdict } from '../../core/sensing/boardFaults.ts'
import { lambdaFromBoard, lambdaFromBoardInto } from '../../core/sensing/boardLambda.ts'
import { cellResistanceOhm } from '../../core/sensing/cellTemperature.ts'
import { checkFreeAir, freeAirGain, freeAirTrend, nominalAirCurrentMa } from '../../core/sensing/freeAir.ts'
import {
  createLinearTransfer,
  valueFromVoltage,
  voltageFromValue,
} from '../../core/sensing/linearTransfer.ts'
import { planar42, planar49 } from '../../core/sensing/planarSensors.ts'
import { isLambdaUsable, sensorReadiness } from '../../core/sensing/readiness.ts'
import { createSensorCurve } from '../../core/sensing/sensorCurve.ts'

describe('sensorReadiness', () => {
  test('warms with rising progress and is ready at the nominal resistance of each sensor', () => {
    for (const sensor of [planar49, planar42]) {
      let before = -1
      for (let celsius = 360; celsius < sensor.nominalTemperatureC - 40; celsius += 20) {
        const { state, progressPct } = sensorReadiness(
          { resistanceOhm: cellResistanceOhm(celsius, sensor) },
          sensor,
        )
        expect(state).toBe('warming')
        expect(progressPct).toBeGreaterThan(before)
        expect(progressPct).toBeLessThan(100)
        before = progressPct
      }
      const nominal = sensorReadiness({ resistanceOhm: sensor.nominalResistanceOhm }, sensor)
      expect(nominal).toEqual({ state: 'ready', progressPct: 100 })
    }
  })

  test('does not flicker between the two limits', () => {
    const between = { resistanceOhm: 1.5 * 300 }
    expect(sensorReadiness(between, planar49, false).state).toBe('warming')
    expect(sensorReadiness(between, planar49, true).state).toBe('ready')
    expect(sensorReadiness({ resistanceOhm: 1.8 * 300 }, planar49, true).state).toBe('warming')
  })

  test('tells hot, short and open apart, and a cold cell from an open one by the heating time', () => {
    expect(sensorReadiness({ resistanceOhm: 100 }).state).toBe('too_hot')
    expect(sensorReadiness({ resistanceOhm: 2 }).state).toBe('short')
    expect(sensorReadiness({ resistanceOhm: 0 }).state).toBe('short')
    expect(sensorReadiness({ resistanceOhm: 1e6, heatingS: 2 })).toEqual({ state: 'warming', progressPct: 0 })
    expect(sensorReadiness({ resistanceOhm: 1e6 }).state).toBe('warming')
    expect(sensorReadiness({ resistanceOhm: 1e6, heatingS: 60 }).state).toBe('open')
    expect(sensorReadiness({ resistanceOhm: Infinity, heatingS: 60 }).state).toBe('open')
  })

  test('without a cell resistance takes the board at its word, except during light-off at full heater duty', () => {
    expect(sensorReadiness({}).state).toBe('unknown')
    expect(sensorReadiness({}).progressPct).toBeNaN()
    expect(sensorReadiness({ heaterDutyPct: 100, heatingS: 4 })).toEqual({
      state: 'warming',
      progressPct: 40,
    })
    expect(sensorReadiness({ heaterDutyPct: 100, heatingS: 40 }).state).toBe('unknown')
    expect(sensorReadiness({ heaterDutyPct: 40, heatingS: 4 }).state).toBe('unknown')
    expect(isLambdaUsable('unknown')).toBe(true)
    expect(isLambdaUsable('ready')).toBe(true)
    for (const state of ['warming', 'too_hot', 'open', 'short'] as const)
      expect(isLambdaUsable(state)).toBe(false)
  })
})

test('boardFault stops λ for heater, cell and supply faults and names an unknown code', () => {
  for (const code of ['heater_open', 'heater_short', 'cell_open', 'cell_short', 'supply_low']) {
    expect(boardFault(code).stopsLambda).toBe(true)
  }
  expect(boardFault('overrun_uart').stopsLambda).toBe(false)
  expect(boardFault('fan_stuck')).toEqual({ stopsLambda: false, text: 'the board says: fan stuck' })
  expect(boardFault('toString').stopsLambda).toBe(false)
})

test('supplyVerdict judges the supply by the sensor range', () => {
  expect(supplyVerdict(10.7, planar49)).toBe('low')
  expect(supplyVerdict(13.8, planar49)).toBe('ok')
  expect(supplyVerdict(16.6, planar49)).toBe('high')
  expect(supplyVerdict(NaN, planar49)).toBe('unknown')
})

describe('free air', () => {
  test('freeAirGain is recorded over nominal current', () => {
    expect(freeAirGain(2.54)).toBe(1)
    expect(freeAirGain(2.413)).toBeCloseTo(0.95, 12)
    expect(freeAirGain(2.55, planar42)).toBe(1)
    for (const nonsense of [NaN, 0, -1, Infinity]) expect(freeAirGain(nonsense)).toBeNaN()
  })

  test('freeAirGain in damp air expects less current, so the gain comes out higher', () => {
    const damp = { temperatureC: 30, pressureKpa: 100, humidityPct: 80 }
    expect(nominalAirCurrentMa(planar49, damp)).toBeCloseTo(2.443, 2)
    expect(freeAirGain(2.45, planar49, damp)).toBeGreaterThan(freeAirGain(2.45))
  })

  test('freeAirGain is NaN for a sensor whose current in air is not known', () => {
    const own = createSensorCurve({
      name: 'own',
      points: [
        { currentMa: -1, lambda: 0.8 },
        { currentMa: 1, lambda: 1.8 },
      ],
    })
    expect(freeAirGain(2.5, own)).toBeNaN()
    expect(checkFreeAir(2.5, own).verdict).toBe('implausible')
  })

  test('checkFreeAir tells a drifted sensor from one that is not in air', () => {
    expect(checkFreeAir(2.5).verdict).toBe('ok')
    expect(checkFreeAir(2.3).verdict).toBe('drifted')
    expect(checkFreeAir(0.4).verdict).toBe('implausible')
    expect(checkFreeAir(NaN).verdict).toBe('implausible')
  })

  test('freeAirTrend finds a steady loss and warns, in any order and past a NaN', () => {
    const history = [
      { day: 200, gain: 0.94 },
      { day: 0, gain: 1 },
      { day: 50, gain: NaN },
      { day: 100, gain: 0.97 },
    ]
    const trend = freeAirTrend(history)
    expect(trend.count).toBe(3)
    expect(trend.changePer100Days).toBeCloseTo(-0.03, 12)
    expect(trend.change).toBeCloseTo(-0.06, 12)
    expect(trend.isDrifting).toBe(true)
    expect(freeAirTrend(history.slice(0, 2)).isDrifting).toBe(false)
    expect(freeAirTrend([]).change).toBeNaN()
    expect(
      freeAirTrend([
        { day: 1, gain: 1 },
        { day: 1, gain: 0.9 },
      ]).change,
    ).toBeNaN()
  })
})

describe('boards that give λ themselves', () => {
  const transfer = createLinearTransfer([0, 0.5], [5, 1.5], [0.1, 4.9])

  test('lambdaFromBoard reads λ, air/fuel ratio and voltages', () => {
    expect(lambdaFromBoard(0.95, { kind: 'lambda' })).toBe(0.95)
    expect(lambdaFromBoard(13.23, { kind: 'afr', stoichiometricRatio: 14.7 })).toBeCloseTo(0.9, 12)
    expect(lambdaFromBoard(2.5, { kind: 'volts_lambda', transfer })).toBeCloseTo(1, 12)
    const afr = createLinearTransfer([0, 10], [5, 20])
    expect(
      lambdaFromBoard(2.35, { kind: 'volts_afr', transfer: afr, stoichiometricRatio: 14.7 }),
    ).toBeCloseTo(1, 12)
  })

  test('lambdaFromBoard gives NaN for a clipped voltage, an end stop and NaN', () => {
    expect(lambdaFromBoard(4.95, { kind: 'volts_lambda', transfer })).toBeNaN()
    expect(lambdaFromBoard(0, { kind: 'lambda' })).toBeNaN()
    expect(lambdaFromBoard(NaN, { kind: 'lambda' })).toBeNaN()
  })

  test('lambdaFromBoardInto works in place and refuses an impossible ratio', () => {
    const column = Float64Array.of(14.7, NaN, 12)
    expect(lambdaFromBoardInto(column, column, { kind: 'afr', stoichiometricRatio: 14.7 })[0]).toBeCloseTo(
      1,
      12,
    )
    expect(() => lambdaFromBoardInto(column, column, { kind: 'afr', stoichiometricRatio: 0 })).toThrow(
      'invalid stoichiometricRatio: 0',
    )
  })

  test('voltageFromValue undoes valueFromVoltage, and a bad line throws', () => {
    expect(voltageFromValue(valueFromVoltage(3.3, transfer), transfer)).toBeCloseTo(3.3, 12)
    expect(voltageFromValue(9, transfer)).toBeNaN()
    expect(() => createLinearTransfer([1, 0], [1, 5])).toThrow('both at 1 V')
    expect(() => createLinearTransfer([0, NaN], [1, 5])).toThrow('invalid point: NaN')
    expect(() => createLinearTransfer([0, 0], [1, 5], [5, 0])).toThrow('invalid spanV')
  })
})
