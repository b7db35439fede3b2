import psychrolib from 'psychrolib'
import { describe, test } from 'vitest'
import { airDensityCipm2007KgM3 } from '../../core/air/cipm2007.ts'
import { densityAltitudeM } from '../../core/air/densityAltitude.ts'
import { airDensityKgM3, humidityRatio, vapourPressureKpa } from '../../core/air/humidAir.ts'
import { dewPointC, saturationPressureKpa } from '../../core/air/saturationPressure.ts'
import { standardAtmosphere } from '../../core/air/standardAtmosphere.ts'
import { seaLevelPressureKpa, stationPressureKpa } from '../../core/air/stationPressure.ts'
import { createDeviations } from './deviations.ts'
import { labelOf, referenceSet } from './referenceSet.ts'

const deviations = createDeviations('air')
psychrolib.SetUnitSystem(psychrolib.SI)

describe('standard atmosphere', () => {
  const computed = referenceSet<{ h_m: number; T_K: number; p_Pa: number; rho_kg_m3: number }>(
    'atmosphere',
    'isa-table',
  )
  test(`standardAtmosphere: ${labelOf(computed)}`, () => {
    for (const { h_m, T_K, p_Pa, rho_kg_m3 } of computed.rows) {
      const air = standardAtmosphere(h_m)
      deviations.near('standard temperature, K', air.temperatureC + 273.15, T_K, 0.001, `${h_m} m`)
      deviations.near('standard pressure, Pa', air.pressureKpa * 1000, p_Pa, 0.1, `${h_m} m`)
      deviations.near('standard density, kg/m³', air.densityKgM3, rho_kg_m3, 1e-5, `${h_m} m`)
    }
  })

  const pressures = referenceSet<{ h_m: number; p_Pa: number }>('atmosphere', 'isa-pressure-seen')
  test(`standardAtmosphere: ${labelOf(pressures)}`, () => {
    for (const { h_m, p_Pa } of pressures.rows) {
      deviations.near(
        'published pressure, Pa',
        standardAtmosphere(h_m).pressureKpa * 1000,
        p_Pa,
        1,
        `${h_m} m`,
      )
    }
  })

  const temperatures = referenceSet<{ h_m: number; t_C: number }>('atmosphere', 'isa-temperature-seen')
  test(`standardAtmosphere: ${labelOf(temperatures)}`, () => {
    for (const { h_m, t_C } of temperatures.rows) {
      deviations.near('published temperature, K', standardAtmosphere(h_m).temperatureC, t_C, 0.1, `${h_m} m`)
    }
  })

  // U.S. Standard Atmosphere 1976, table I, geopotential layer bases; from memory.
  test('standardAtmosphere meets the layer bases of the 1976 tables, from memory', () => {
    for (const [altitudeM, kelvin, pascal] of [
      [11000, 216.65, 22632.1],
      [20000, 216.65, 5474.89],
      [32000, 228.65, 868.019],
      [47000, 270.65, 110.906],
      [51000, 270.65, 66.9389],
      [71000, 214.65, 3.95642],
      [84852, 186.946, 0.373384],
    ]) {
      const air = standardAtmosphere(altitudeM)
      deviations.near('upper temperature, K', air.temperatureC + 273.15, kelvin, 0.01, `${altitudeM} m`)
      deviations.nearShare('upper pressure, share', air.pressureKpa * 1000, pascal, 1e-4, `${altitudeM} m`)
    }
  })

  test('standardAtmosphere agrees with psychrolib from −500 m to 10 000 m', () => {
    for (let altitudeM = -500; altitudeM <= 10000; altitudeM += 250) {
      const wanted = psychrolib.GetStandardAtmPressure(altitudeM)
      const got = standardAtmosphere(altitudeM).pressureKpa * 1000
      deviations.near('psychrolib standard pressure, Pa', got, wanted, 2, `${altitudeM} m`)
    }
  })

  const reduced = referenceSet<{
    station_p_Pa: number
    altitude_m: number
    t_C: number
    sea_level_p_Pa: number
  }>('atmosphere', 'sea-level-conversion')
  test(`seaLevelPressureKpa and stationPressureKpa: ${labelOf(reduced)}, and psychrolib`, () => {
    for (const { station_p_Pa, altitude_m, t_C, sea_level_p_Pa } of reduced.rows) {
      const seaLevelKpa = seaLevelPressureKpa(station_p_Pa / 1000, altitude_m, t_C)
      deviations.near('sea-level pressure, Pa', seaLevelKpa * 1000, sea_level_p_Pa, 1)
    }
    for (let altitudeM = 0; altitudeM <= 3000; altitudeM += 300) {
      for (const temperatureC of [-15, 5, 35]) {
        const reported = { kind: 'sea_level', pressureKpa: 101.8, altitudeM, temperatureC } as const
        const wanted = psychrolib.GetStationPressure(101800, altitudeM, temperatureC)
        deviations.near('psychrolib station pressure, Pa', stationPressureKpa(reported) * 1000, wanted, 1)
      }
    }
  })
})

describe('water vapour', () => {
  const ashrae = referenceSet<{ t_C: number; e_Pa: number }>('atmosphere', 'vapour-pressure-seen-ashrae')
  test(`saturationPressureKpa: ${labelOf(ashrae)}`, () => {
    for (const { t_C, e_Pa } of ashrae.rows) {
      // 0.03 %, or half of the last digit printed where that is more.
      const allowed = Math.max(0.0003 * e_Pa, 0.005)
      deviations.near(
        'published vapour pressure, Pa',
        saturationPressureKpa(t_C) * 1000,
        e_Pa,
        allowed,
        `${t_C} °C`,
      )
    }
  })

  const smithsonian = referenceSet<{ t_C: number; e_hPa: number }>(
    'atmosphere',
    'vapour-pressure-seen-smithsonian',
  )
  test(`saturationPressureKpa above freezing: ${labelOf(smithsonian)}`, () => {
    // Below 0 °C that table is over supercooled water, ours over ice.
    for (const { t_C, e_hPa } of smithsonian.rows.filter((row) => row.t_C >= 0)) {
      deviations.nearShare(
        'older published scale, hPa',
        saturationPressureKpa(t_C) * 10,
        e_hPa,
        0.001,
        `${t_C} °C`,
      )
    }
  })

  interface Formulas {
    t_C: number
    e_Pa_ASHRAE_formula: number
    e_Pa_Buck1996_water: number
    e_Pa_WMO_Magnus_water: number
  }
  const formulas = referenceSet<Formulas>('atmosphere', 'vapour-pressure-formulas')
  test(`saturationPressureKpa: ${labelOf(formulas)}`, () => {
    for (const row of formulas.rows) {
      const pascal = saturationPressureKpa(row.t_C) * 1000
      deviations.nearShare('same formula, Pa', pascal, row.e_Pa_ASHRAE_formula, 1e-5, `${row.t_C} °C`)
      if (row.t_C < 0) continue
      deviations.nearShare(
        'Buck 1996, from memory, Pa',
        pascal,
        row.e_Pa_Buck1996_water,
        0.003,
        `${row.t_C} °C`,
      )
      deviations.nearShare('WMO, from memory, Pa', pascal, row.e_Pa_WMO_Magnus_water, 0.0035, `${row.t_C} °C`)
    }
  })

  test('saturationPressureKpa and dewPointC agree with psychrolib', () => {
    for (let temperatureC = -60; temperatureC <= 150; temperatureC += 5) {
      const wanted = psychrolib.GetSatVapPres(temperatureC)
      const at = `${temperatureC} °C`
      deviations.nearShare(
        'psychrolib vapour pressure, Pa',
        saturationPressureKpa(temperatureC) * 1000,
        wanted,
        1e-5,
        at,
      )
    }
    for (const [temperatureC, share] of [
      [30, 0.4],
      [10, 0.9],
      [-5, 0.6],
      [35, 0.15],
    ]) {
      const wanted = psychrolib.GetTDewPointFromRelHum(temperatureC, share)
      const vapourKpa = share * saturationPressureKpa(temperatureC)
      deviations.near(
        'psychrolib dew point, K',
        dewPointC(vapourKpa),
        wanted,
        0.01,
        `${temperatureC} °C, ${share}`,
      )
    }
  })
})

describe('humid air', () => {
  interface Moist {
    t_C: number
    rh: number
    p_Pa: number
    pv_Pa: number
    rho_kg_m3: number
    rho_CIPM2007: number
    density_altitude_m: number
  }
  const moist = referenceSet<Moist>('atmosphere', 'moist-air')
  test(`airDensityKgM3, densityAltitudeM and CIPM-2007: ${labelOf(moist)}`, () => {
    for (const row of moist.rows) {
      const air = { temperatureC: row.t_C, pressureKpa: row.p_Pa / 1000, humidityPct: row.rh * 100 }
      const at = `${row.t_C} °C, ${row.rh * 100} %, ${row.p_Pa} Pa`
      deviations.near('vapour pressure, Pa', vapourPressureKpa(air) * 1000, row.pv_Pa, 0.02, at)
      deviations.near('density, kg/m³', airDensityKgM3(air), row.rho_kg_m3, 0.00003, at)
      deviations.near('density altitude, m', densityAltitudeM(air), row.density_altitude_m, 0.3, at)
      deviations.nearShare('ours against CIPM-2007, kg/m³', airDensityKgM3(air), row.rho_CIPM2007, 0.0008, at)
      deviations.near(
        'CIPM-2007, from memory, kg/m³',
        airDensityCipm2007KgM3(air),
        row.rho_CIPM2007,
        0.00001,
        at,
      )
    }
  })

  test('airDensityKgM3 and humidityRatio agree with psychrolib over a garage year', () => {
    for (const temperatureC of [-20, -5, 5, 15, 25, 35, 45]) {
      for (const humidityPct of [5, 30, 60, 95]) {
        for (const pressureKpa of [80, 95, 101.325, 104]) {
          const ratio = psychrolib.GetHumRatioFromRelHum(temperatureC, humidityPct / 100, pressureKpa * 1000)
          const density = psychrolib.GetMoistAirDensity(temperatureC, ratio, pressureKpa * 1000)
          const air = { temperatureC, pressureKpa, humidityPct }
          const at = `${temperatureC} °C, ${humidityPct} %, ${pressureKpa} kPa`
          deviations.nearShare('psychrolib density, kg/m³', airDensityKgM3(air), density, 0.0001, at)
          deviations.nearShare('psychrolib humidity ratio', humidityRatio(air), ratio, 0.0005, at)
        }
      }
    }
  })

  interface PublishedMoist {
    t_C: number
    p_Pa: number
    humidity_ratio?: number
    vapour_pressure_Pa?: number
    rho_kg_m3?: number
  }
  const published = referenceSet<PublishedMoist>('atmosphere', 'moist-air-seen')
  test(`airDensityKgM3 and humidityRatio: ${labelOf(published)}`, () => {
    let compared = 0
    for (const row of published.rows) {
      const pressureKpa = row.p_Pa / 1000
      if (row.rho_kg_m3 !== undefined) {
        const vapourKpa = (pressureKpa * row.humidity_ratio!) / (0.621945 + row.humidity_ratio!)
        const humidityPct = (100 * vapourKpa) / saturationPressureKpa(row.t_C)
        const density = airDensityKgM3({ temperatureC: row.t_C, pressureKpa, humidityPct })
        deviations.nearShare('published density, kg/m³', density, row.rho_kg_m3, 0.0003)
        compared++
      }
      if (row.vapour_pressure_Pa !== undefined) {
        const humidityPct = Math.min(100, row.vapour_pressure_Pa / 10 / saturationPressureKpa(row.t_C))
        const ratio = humidityRatio({ temperatureC: row.t_C, pressureKpa, humidityPct })
        deviations.nearShare('published humidity ratio', ratio, row.humidity_ratio!, 0.0005)
        compared++
      }
    }
    if (compared !== 2) throw new Error(`compared ${compared} rows, expected 2`)
  })

  interface Altitude {
    t_C: number
    p_inHg: number
    vapour_pressure_hPa: number
    density_altitude_ft_exact: number
    density_altitude_ft_NWS: number
  }
  const altitudes = referenceSet<Altitude>('atmosphere', 'density-altitude-examples')
  test(`densityAltitudeM in feet: ${labelOf(altitudes)}`, () => {
    for (const row of altitudes.rows) {
      const pressureKpa = row.p_inHg * 3.386389
      const humidityPct = (10 * row.vapour_pressure_hPa) / saturationPressureKpa(row.t_C)
      const feet = densityAltitudeM({ temperatureC: row.t_C, pressureKpa, humidityPct }) / 0.3048
      const at = `${row.t_C} °C, ${row.p_inHg} inHg`
      deviations.near('exact density altitude, ft', feet, row.density_altitude_ft_exact, 3, at)
      // The weather service's rounded constants read 14 to 20 ft more.
      deviations.near('weather service sheet, ft', feet, row.density_altitude_ft_NWS - 17, 5, at)
    }
  })
})
