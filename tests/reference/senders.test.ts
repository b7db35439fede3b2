import { describe, expect, test } from 'vitest'
import {
  pressureKpaFromVoltage,
  pressureSenders,
  voltageFromPressureKpa,
} from '../../core/sensing/pressureSender.ts'
import { createThermistorTable, thermistorTemperatureC } from '../../core/sensing/thermistor.ts'
import { fitBeta, fitSteinhartHart } from '../../core/sensing/thermistorFit.ts'
import { thermocoupleEmfMv, thermocoupleTemperatureC } from '../../core/sensing/thermocouple.ts'
import { dividerResistanceOhm, dividerVoltage } from '../../core/sensing/voltageDivider.ts'
import { createDeviations } from './deviations.ts'
import { labelOf, referenceSet } from './referenceSet.ts'

const TOPIC = 'temperature-pressure-sensors'
const deviations = createDeviations('senders')

describe('type K thermocouple', () => {
  const seen = referenceSet<{ t_C: number; emf_mV: number }>(TOPIC, 'type-k-seen')
  test(`thermocoupleEmfMv: ${labelOf(seen)}`, () => {
    for (const { t_C, emf_mV } of seen.rows) {
      deviations.near('published voltage, mV', thermocoupleEmfMv(t_C), emf_mV, 0.0006, `${t_C} °C`)
    }
  })

  const checks = referenceSet<{ t_C: number; emf_mV: number; emf_mV_table: number }>(TOPIC, 'type-k-checks')
  test(`both directions: ${labelOf(checks)}`, () => {
    for (const { t_C, emf_mV, emf_mV_table } of checks.rows) {
      deviations.near('voltage, mV', thermocoupleEmfMv(t_C), emf_mV, 0.00001, `${t_C} °C`)
      deviations.near(
        'temperature from voltage, K',
        thermocoupleTemperatureC(emf_mV, 0),
        t_C,
        0.002,
        `${t_C} °C`,
      )
      deviations.near(
        'temperature from 3 digits, K',
        thermocoupleTemperatureC(emf_mV_table, 0),
        t_C,
        0.05,
        `${t_C} °C`,
      )
    }
  })

  const junctions = referenceSet<{ hot_C: number; cold_junction_C: number; measured_mV: number }>(
    TOPIC,
    'type-k-cold-junction',
  )
  test(`thermocoupleTemperatureC adds the cold junction: ${labelOf(junctions)}`, () => {
    for (const { hot_C, cold_junction_C, measured_mV } of junctions.rows) {
      const temperatureC = thermocoupleTemperatureC(measured_mV, cold_junction_C)
      deviations.near('with cold junction, K', temperatureC, hot_C, 0.02, `${hot_C} °C`)
    }
  })
})

describe('thermistor', () => {
  const table = referenceSet<{ t_C: number; R_ohm: number }>(TOPIC, 'ntc-table')
  const points = table.rows.map(({ t_C, R_ohm }) => ({ temperatureC: t_C, resistanceOhm: R_ohm }))
  const at = (temperatureC: number) => points.find((point) => point.temperatureC === temperatureC)!

  test(`thermistorTemperatureC by table: ${labelOf(table)}`, () => {
    const model = createThermistorTable(points)
    for (const { resistanceOhm, temperatureC } of points) {
      deviations.near(
        'table at its points, K',
        thermistorTemperatureC(resistanceOhm, model),
        temperatureC,
        1e-9,
      )
    }
    for (let left = 1; left < points.length - 1; left++) {
      const without = createThermistorTable(points.filter((_, i) => i !== left))
      const temperatureC = thermistorTemperatureC(points[left].resistanceOhm, without)
      deviations.near('table with a point left out, K', temperatureC, points[left].temperatureC, 0.35)
    }
  })

  interface Row {
    A?: number
    B?: number
    C?: number
    R_ohm?: number
    t_SH_C?: number
    t_beta_C?: number
    beta_K?: number
  }
  const steinhart = referenceSet<Row>(TOPIC, 'ntc-steinhart')
  test(`fitSteinhartHart: ${labelOf(steinhart)}`, () => {
    const { model } = fitSteinhartHart([at(0), at(40), at(100)])
    const { A, B, C } = steinhart.rows[0]
    deviations.nearShare('coefficient a', model.a, A!, 1e-7)
    deviations.nearShare('coefficient b', model.b, B!, 1e-7)
    deviations.nearShare('coefficient c', model.c, C!, 1e-6)
    for (const { R_ohm, t_SH_C } of steinhart.rows.slice(1)) {
      const temperatureC = thermistorTemperatureC(R_ohm!, { a: A!, b: B!, c: C! })
      deviations.near('Steinhart–Hart, K', temperatureC, t_SH_C!, 0.001, `${R_ohm} Ω`)
    }
    const all = fitSteinhartHart(points)
    deviations.near('fit through all points, K', all.largestErrorK, 0, 0.05)
    expect(all.isMonotone).toBe(true)
  })

  const beta = referenceSet<Row>(TOPIC, 'ntc-beta')
  test(`fitBeta: ${labelOf(beta)}`, () => {
    const { model } = fitBeta([at(25), at(80)])
    deviations.near('beta, K', model.beta, beta.rows[0].beta_K!, 0.01)
    for (const { R_ohm, t_beta_C } of beta.rows.slice(1)) {
      deviations.near('beta model, K', thermistorTemperatureC(R_ohm!, model), t_beta_C!, 0.001, `${R_ohm} Ω`)
    }
  })

  const divider = referenceSet<{ Vs: number; R_pullup_ohm: number; R_ntc_ohm: number; V: number }>(
    TOPIC,
    'ntc-divider',
  )
  test(`dividerVoltage and back: ${labelOf(divider)}`, () => {
    for (const { Vs, R_pullup_ohm, R_ntc_ohm, V } of divider.rows) {
      const circuit = { supplyV: Vs, fixedOhm: R_pullup_ohm }
      deviations.near('divider, V', dividerVoltage(R_ntc_ohm, circuit), V, 0.00001)
      deviations.nearShare('divider resistance, Ω', dividerResistanceOhm(V, circuit), R_ntc_ohm, 0.0001)
    }
  })
})

describe('manifold pressure sender', () => {
  const maps = referenceSet<{ part: string; Vs: number; P_kPa: number; V: number }>(TOPIC, 'map-examples')
  test(`both directions: ${labelOf(maps)}`, () => {
    for (const { part, Vs, P_kPa, V } of maps.rows) {
      const sender = part === 'MPX4250A' ? pressureSenders.absolute_20_250 : pressureSenders.absolute_15_115
      deviations.near(
        'sender voltage, V',
        voltageFromPressureKpa(P_kPa, sender, Vs),
        V,
        0.00001,
        `${P_kPa} kPa`,
      )
      deviations.near(
        'sender pressure, kPa',
        pressureKpaFromVoltage(V, sender, Vs),
        P_kPa,
        0.001,
        `${P_kPa} kPa`,
      )
    }
  })
})
