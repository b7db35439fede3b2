import { describe, expect, it } from 'vitest'
import { airDensityKgM3 } from '../../core/air/humidAir.ts'
import type { Air } from '../../core/contract/car.ts'
import { compareRuns } from '../../core/tuning/compareRuns.ts'
import { comparisonText } from '../../core/tuning/comparisonText.ts'
import { lambdaUnit, mixtureUnitOf } from '../../core/units/mixtureUnit.ts'
import { stateVerdict } from '../../dashboard/parts/compare/compareWords.ts'
import { createNoise, type SyntheticOptions, syntheticResult, syntheticRun } from '../support/syntheticRun.ts'

const reference = airDensityKgM3({ temperatureC: 20, pressureKpa: 100, humidityPct: 0 })
const hot: Air = { temperature_C: 34, pressure_kPa: 95, humidity_pct: 40 }
const home: Air = { temperature_C: 20, pressure_kPa: 100, humidity_pct: 0 }
const cold: Air = { temperature_C: 4, pressure_kPa: 102, humidity_pct: 60 }

/** A carburettor whose λ changes over the map and with √ρ, as its main jet's fuel does. */
function engine(air: Air, fuel = 1): SyntheticOptions['lambdaAt'] {
  const density = airDensityKgM3({
    temperatureC: air.temperature_C,
    pressureKpa: air.pressure_kPa,
    humidityPct: air.humidity_pct,
  })
  return (rpm, load, state) => {
    const base = state === 'idle' ? 0.95 : load < 0.6 ? 1.02 : load < 0.78 ? 0.97 : 0.87
    const share = state === 'idle' ? 0 : load < 0.78 ? 0.8 : 0.65
    return (
      ((base * (1 + 0.01 * (rpm / 2500 - 1))) / (1 + share * (fuel - 1))) * Math.sqrt(density / reference)
    )
  }
}
const drive = (seed: number, air: Air, fuel = 1, more: Partial<SyntheticOptions> = {}) =>
  syntheticRun({ seed, air, lambdaAt: engine(air, fuel), ...more })

describe('compareRuns', () => {
  it('brings the carburettor before a conversion to home air, and not the injection after it', () => {
    const car = { id: 'x', metering: 'throttle_body_injection' as const }
    const injected = { ...drive(6, hot, 1, { lambdaAt: engine(home) }), car }
    const comparison = compareRuns({ ...drive(5, hot), car: { id: 'x' } }, injected)
    expect(comparison.verdict).toBe('no_difference')
    expect(comparison.air_corrected).toBe(true)
    expect(comparison.text).toContain('only the other run was brought to home air')
  })

  it('finds no change in an engine that was held at speed in the garage as well', () => {
    const driven = (run: ReturnType<typeof drive>) => ({
      ...run,
      pieces: run.pieces.map((piece) => ({ ...piece, roadSpeedMs: piece.state === 'idle' ? 0 : 15 })),
    })
    const a = driven(drive(1, home))
    const b = driven(drive(2, home))
    const cruise = b.pieces.filter(({ state }) => state === 'cruise')
    const standing = cruise.map((piece, i) => ({
      ...piece,
      timeS: 2000 + i,
      visit: 99,
      lambda: 0.85,
      roadSpeedMs: 0,
    }))
    const held = { ...b, pieces: [...b.pieces, ...standing] }
    expect(compareRuns(a, held).states.cruise?.verdict).toBe('no_difference')
    const unknown = { ...held, pieces: held.pieces.map(({ roadSpeedMs: _, ...piece }) => piece) }
    expect(compareRuns(a, unknown).states.cruise?.verdict).not.toBe('no_difference')
  })

  it('finds no change in what a warm intake air sensor reads otherwise than the weather record', () => {
    const sensed = (run: ReturnType<typeof drive>, warmerC: number) => ({
      ...run,
      result: { ...run.result, run: { ...run.result.run, air: undefined } },
      pieces: run.pieces.map((piece) => ({
        ...piece,
        barometerKpa: home.pressure_kPa,
        intakeAirC: home.temperature_C + warmerC,
      })),
    })
    const pairs = Array.from({ length: 10 }, (_, i) => [drive(2 * i, home), drive(2 * i + 1, home)] as const)
    for (const [a, b] of pairs) expect(compareRuns(a, sensed(b, 8)).verdict).toBe('no_difference')
    const changed = compareRuns(drive(1, home), sensed(drive(2, home, 1.1), 8))
    expect(changed.states.cruise?.verdict).toBe('richer')
  })

  it('says that the runs were driven on two fuels', () => {
    const onFuel = (id: string, seed: number, fuel: number) => ({
      ...drive(seed, home, fuel),
      car: { id: 'x', fuel: { id } },
    })
    const comparison = compareRuns(onFuel('gasoline_e10', 5, 1), onFuel('e85', 6, 0.7))
    expect(comparison.verdict).toBe('leaner')
    expect(comparison.text).toContain('driven on gasoline E10, the second on E85')
    expect(compareRuns(onFuel('e85', 5, 1), onFuel('e85', 6, 1)).text).not.toContain('driven on')
  })

  describe('with a run that has little of what the other has', () => {
    const whole = drive(5, hot)
    const cut = (states: string[]) => {
      const run = drive(2, cold)
      return { ...run, pieces: run.pieces.filter((piece) => states.includes(piece.state)) }
    }

    it('does not call two runs alike of which idle alone could be compared', () => {
      const comparison = compareRuns(whole, cut(['idle']))
      expect(comparison.verdict).toBe('not_enough_data')
      expect(comparison.text).toMatch(/only idle could be compared, with no difference/)
    })

    it('names the states that were not compared', () => {
      const comparison = compareRuns(whole, cut(['idle', 'cruise', 'part_throttle']))
      expect(comparison.verdict).toBe('no_difference')
      expect(comparison.text).toMatch(/Not compared for want of driving: power/)
      expect(compareRuns(whole, drive(2, cold)).text).not.toContain('Not compared')
    })

    it('says which run tells no load', () => {
      const run = drive(2, cold)
      const blind = {
        ...run,
        pieces: run.pieces.map((piece) => ({ ...piece, state: 'running' as const, load: Number.NaN })),
        result: { ...run.result, map: { ...run.result.map, load_channel: 'none' as const } },
      }
      expect(compareRuns(whole, blind).text).toMatch(/^The second run tells neither throttle nor pressure/)
    })

    it('compares no cruise whose load the throttle tells with one whose load the pressure tells', () => {
      const run = drive(2, cold)
      const byThrottle = {
        ...run,
        pieces: run.pieces.map((piece) =>
          piece.state === 'cruise' ? { ...piece, lambda: 0.9 * piece.lambda } : piece,
        ),
        result: { ...run.result, map: { ...run.result.map, load_channel: 'throttle' as const } },
      }
      const { states, text } = compareRuns(whole, byThrottle)
      expect(states.cruise).toMatchObject({ difference: null, verdict: 'not_enough_data' })
      const { lambda_a, lambda_b } = states.cruise as unknown as Record<string, number>
      expect(lambda_a).toBeCloseTo(lambda_b, 1)
      expect(states.idle?.verdict).toBe('no_difference')
      expect(states.power?.verdict).toBe('no_difference')
      expect(text).not.toContain('want of driving')
      expect(text).toMatch(/In one run the pressure tells the load, in the other the throttle/)
      expect(compareRuns(whole, run).text).not.toContain('the other the throttle')
    })
  })

  it('finds no difference in one car driven on a hot low day and a cold high one', () => {
    const comparison = compareRuns(drive(1, hot), drive(2, cold))
    expect(comparison.verdict).toBe('no_difference')
    expect(comparison.air_corrected).toBe(true)
  })

  it('would call the same pair different without the air: the correction matters', () => {
    const comparison = compareRuns(drive(1, hot), drive(2, cold), { airExponentSd: 0 })
    const factors = comparison.air as { lambda_factor_a: number; lambda_factor_b: number }
    // √ρ between these days is 6 to 7 %, twice a jet size.
    expect(factors.lambda_factor_a / factors.lambda_factor_b).toBeGreaterThan(1.05)
  })

  it('finds 5.5 % more main jet area as richer in cruise, and leaves idle alone', () => {
    const comparison = compareRuns(drive(3, hot), drive(4, cold, 1.055))
    expect(comparison.states.cruise?.verdict).toBe('richer')
    expect(comparison.states.idle?.verdict).toBe('no_difference')
    expect(comparison.states.cruise?.difference).toBeCloseTo(-1.02 * 0.042, 1)
    expect(comparison.verdict).toBe('richer')
  })

  it('is antisymmetric: B − A changes its sign with the order', () => {
    const a = drive(5, hot)
    const b = drive(6, cold, 0.94)
    const forth = compareRuns(a, b).states.cruise!
    const back = compareRuns(b, a).states.cruise!
    expect(forth.difference).toBeCloseTo(-back.difference!, 6)
    expect(forth.verdict).toBe('leaner')
    expect(back.verdict).toBe('richer')
  })

  it('does not read faster driving as another mixture', () => {
    const comparison = compareRuns(drive(7, hot, 1, { meanRpm: 1700 }), drive(8, hot, 1, { meanRpm: 3300 }))
    expect(comparison.verdict).toBe('no_difference')
  })

  it('widens the intervals and says so when the air of one run is not known', () => {
    const a = drive(9, hot)
    const b = drive(10, hot)
    const known = compareRuns(a, b)
    const unknown = compareRuns(a, { ...b, result: syntheticResult({}) })
    expect(unknown.air_corrected).toBe(false)
    const width = (ci: [number, number] | null) => ci![1] - ci![0]
    expect(width(unknown.states.cruise!.ci95)).toBeGreaterThan(1.5 * width(known.states.cruise!.ci95))
  })

  it('takes the air from the barometer and intake air channels when there is no record', () => {
    const a = drive(11, hot)
    const bare = drive(12, hot)
    const pieces = bare.pieces.map((piece) => ({ ...piece, barometerKpa: 95, intakeAirC: 34 }))
    const comparison = compareRuns(a, { ...bare, pieces, result: syntheticResult({}) })
    expect(comparison.air_corrected).toBe(true)
    expect((comparison.air as { b: { source: string } }).b.source).toBe('channels')
  })

  it('says not_enough_data for a state that one run lacks, and for runs without any', () => {
    const a = drive(13, hot)
    const b = drive(14, hot)
    const withoutPower = { ...b, pieces: b.pieces.filter((piece) => piece.state !== 'power') }
    expect(compareRuns(a, withoutPower).states.power).toMatchObject({
      verdict: 'not_enough_data',
      difference: null,
    })
    expect(compareRuns({ ...a, pieces: [] }, b).verdict).toBe('not_enough_data')
  })

  it('applies no air law to throttle-body injection', () => {
    const car = { id: 'tbi', metering: 'throttle_body_injection' as const }
    const flat = (seed: number, air: Air) => syntheticRun({ seed, air, car, lambdaAt: () => 1 })
    const comparison = compareRuns(flat(15, hot), flat(16, cold))
    expect(comparison.verdict).toBe('no_difference')
    expect(comparison.air_corrected).toBe(false)
  })

  it('takes plain results where the pieces are gone', () => {
    const result = (median: number) => ({
      ...syntheticResult({ air: hot }),
      mixture: {
        cruise: {
          bank: 1 as const,
          seconds: 120,
          lambda_median: median,
          lambda_iqr: 0.02,
          ci95: [median - 0.008, median + 0.008] as [number, number],
          target: 1.02,
          error: 0,
          inside_share: 1,
        },
      },
    })
    expect(compareRuns(result(1.02), result(1.02)).verdict).toBe('no_difference')
    expect(compareRuns(result(1.02), result(0.95)).verdict).toBe('richer')
  })

  it('throws RangeError for something that is no run', () => {
    expect(() => compareRuns({} as never, drive(1, hot))).toThrow(RangeError)
  })

  it('keeps false alarms over all states together under 8 of 100 pairs, and every state’s interval near 95 %', () => {
    let alarms = 0
    let inside = 0
    let intervals = 0
    for (let pair = 0; pair < 100; pair++) {
      const noise = createNoise(pair + 1000)
      const air = (): Air => ({
        temperature_C: noise.between(2, 36),
        pressure_kPa: noise.between(94, 102),
        humidity_pct: noise.between(20, 90),
      })
      const wander = noise.between(0.004, 0.012)
      const comparison = compareRuns(
        drive(2 * pair + 1, air(), 1, { wander }),
        drive(2 * pair + 2, air(), 1, { wander }),
      )
      if (comparison.verdict !== 'no_difference') alarms++
      for (const { ci95 } of Object.values(comparison.states)) {
        if (!ci95) continue
        intervals++
        if (ci95[0] <= 0 && ci95[1] >= 0) inside++
      }
    }
    expect(alarms).toBeLessThanOrEqual(8)
    expect(inside / intervals).toBeGreaterThan(0.92)
  }, 60_000)
})

describe('the sentence of a comparison', () => {
  const a = drive(5, home)
  const b = drive(6, home, 0.93)
  const cruiseOf = (text: unknown) => /cruise by (\S+) (\S+) ± (\d+\.\d+)/.exec(String(text))!.slice(1)

  it('gives its distances in the unit that was asked for', () => {
    const lambda = cruiseOf(compareRuns(a, b).text)
    const afr = cruiseOf(compareRuns(a, b, { mixtureUnit: 'afr' }).text)
    const phi = cruiseOf(compareRuns(a, b, { mixtureUnit: 'phi' }).text)
    expect([lambda[0], afr[0], phi[0]]).toEqual(['λ', 'AFR', 'φ'])
    const { difference, lambda_a, lambda_b } = compareRuns(a, b).states.cruise as unknown as Record<
      string,
      number
    >
    expect(Number(lambda[1])).toBeCloseTo(difference, 3)
    // Ordinary petrol has about 14.6 kg of air for each kg.
    expect(Number(afr[1]) / difference).toBeGreaterThan(13.5)
    expect(Number(afr[1]) / difference).toBeLessThan(15)
    expect(Number(phi[1])).toBeCloseTo(1 / lambda_a - 1 / lambda_b, 2)
    expect(Number(afr[2])).toBeGreaterThan(0)
  })

  it('gives the figures that the rows of the page give', () => {
    for (const mixtureUnit of ['lambda', 'afr', 'phi']) {
      const { text, states } = compareRuns(a, b, { mixtureUnit })
      const row = stateVerdict(states.cruise!, mixtureUnitOf(mixtureUnit, undefined))
      expect(row).toBe(`leaner ${cruiseOf(text)[1]}`)
    }
  })

  it('follows the profile of the car where nothing was asked for, and leaves the figures in λ', () => {
    const car = { id: 'x', units: { mixture: 'afr' } }
    const asked = compareRuns(a, b, { car })
    expect(cruiseOf(asked.text)[0]).toBe('AFR')
    expect(asked.states).toEqual(compareRuns(a, b).states)
    expect(cruiseOf(compareRuns(a, b, { car, mixtureUnit: 'lambda' }).text)[0]).toBe('λ')
  })

  it('speaks of the second car where the runs are of two', () => {
    const of = (run: typeof a, car: string) => ({
      ...run,
      result: { ...run.result, run: { ...run.result.run, car } },
    })
    expect(compareRuns(of(a, 'juniper'), of(b, 'juniper')).text).toContain('eaner in the second run')
    const two = String(compareRuns(of(a, 'juniper'), of(b, 'pebble')).text)
    expect(two).toContain('eaner in the second car')
    expect(two).not.toContain('second run')
  })
})

describe('comparisonText', () => {
  const state = (difference: number, half: number) => ({
    difference,
    ci95: [difference - half, difference + half] as [number, number],
    verdict: 'no_difference' as const,
    seconds_a: 100,
    seconds_b: 100,
  })
  const said = (states: Parameters<typeof comparisonText>[0]['states']) =>
    comparisonText({
      verdict: 'no_difference',
      states,
      airKnown: true,
      injections: 0,
      loadless: undefined,
      isAlike: true,
      isTwoCars: false,
      fuels: undefined,
      unit: lambdaUnit,
    })

  it('says why a state whose own interval leaves nought out is no difference yet', () => {
    const idle = state(0.01, 0.03)
    expect(said({ idle, cruise: state(-0.024, 0.021) })).toContain(
      'Alone, cruise would count as one; of 2 states',
    )
    expect(said({ idle, cruise: state(-0.02, 0.021) })).not.toContain('Alone')
  })
})
