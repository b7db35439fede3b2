import fc from 'fast-check'
import { describe, expect, test } from 'vitest'
import { molarMassG, stoichiometricRatio } from '../../core/fuel/composition.ts'
import {
  analyserClasses,
  estimateLambdaFromExhaustGas,
  lambdaFromExhaustGas,
} from '../../core/fuel/exhaustGas.ts'
import {
  blendFuels,
  createFuel,
  ethanolBlend,
  type FuelId,
  fuelInTank,
  fuels,
} from '../../core/fuel/fuels.ts'
import {
  afrFromLambda,
  equivalenceRatio,
  lambdaFromAfr,
  lambdaFromEquivalenceRatio,
} from '../../core/fuel/mixtureRatio.ts'

const moles = fc.record({
  carbon: fc.double({ min: 0.5, max: 20, noNaN: true }),
  hydrogen: fc.double({ min: 0, max: 40, noNaN: true }),
  oxygen: fc.double({ min: 0, max: 0.9, noNaN: true }),
})

describe('stoichiometricRatio', () => {
  test('does not change when all moles are multiplied', () => {
    fc.assert(
      fc.property(
        moles,
        fc.double({ min: 0.01, max: 100, noNaN: true }),
        ({ carbon, hydrogen, oxygen }, factor) => {
          const ratio = stoichiometricRatio({ carbon, hydrogen, oxygen })
          const scaled = stoichiometricRatio({
            carbon: carbon * factor,
            hydrogen: hydrogen * factor,
            oxygen: oxygen * factor,
          })
          expect(scaled / ratio).toBeCloseTo(1, 9)
        },
      ),
    )
  })

  test('falls with oxygen in the fuel', () => {
    fc.assert(
      fc.property(moles, (fuel) => {
        expect(stoichiometricRatio({ ...fuel, oxygen: fuel.oxygen + 0.05 })).toBeLessThan(
          stoichiometricRatio(fuel),
        )
      }),
    )
  })

  test('throws with the value for negative moles and for what cannot burn, and passes NaN on', () => {
    expect(() => stoichiometricRatio({ carbon: -1, hydrogen: 2, oxygen: 0 })).toThrow('invalid carbon: -1')
    expect(() => stoichiometricRatio({ carbon: 1, hydrogen: 0, oxygen: 2 })).toThrow('C 1 H 0 O 2')
    expect(() => stoichiometricRatio({ carbon: 0, hydrogen: 0, oxygen: 0 })).toThrow(RangeError)
    expect(() => stoichiometricRatio({ carbon: Infinity, hydrogen: 0, oxygen: 0 })).toThrow('Infinity')
    expect(stoichiometricRatio({ carbon: NaN, hydrogen: 2, oxygen: 0 })).toBeNaN()
    expect(molarMassG({ carbon: 1, hydrogen: 4, oxygen: 1 })).toBeCloseTo(32.042, 9)
  })
})

describe('blendFuels', () => {
  test('of one fuel with itself is that fuel', () => {
    const same = blendFuels([
      { fuel: 'methanol', volumeShare: 0.4 },
      { fuel: fuels.methanol, volumeShare: 0.6 },
    ])
    expect(same.densityKgM3).toBeCloseTo(792, 9)
    expect(same.stoichiometricRatio).toBeCloseTo(fuels.methanol.stoichiometricRatio, 9)
    expect(same.heatingValueMjKg).toBeCloseTo(20, 9)
  })

  test('does not care how the parts are grouped', () => {
    const inOne = blendFuels([
      { fuel: 'gasoline_e0', volumeShare: 0.5 },
      { fuel: 'ethanol', volumeShare: 0.3 },
      { fuel: 'isooctane', volumeShare: 0.2 },
    ])
    const first = blendFuels([
      { fuel: 'gasoline_e0', volumeShare: 0.625 },
      { fuel: 'ethanol', volumeShare: 0.375 },
    ])
    const inTwo = blendFuels([
      { fuel: first, volumeShare: 0.8 },
      { fuel: 'isooctane', volumeShare: 0.2 },
    ])
    expect(inTwo.stoichiometricRatio).toBeCloseTo(inOne.stoichiometricRatio, 9)
    expect(inTwo.densityKgM3).toBeCloseTo(inOne.densityKgM3, 9)
    expect(inTwo.composition.oxygen).toBeCloseTo(inOne.composition.oxygen, 12)
  })

  test('throws with the value for shares that do not fit and for unknown fuels', () => {
    expect(() => blendFuels([])).toThrow('invalid volumeShare sum: 0')
    expect(() => blendFuels([{ fuel: 'ethanol', volumeShare: 0.9 }])).toThrow('0.9')
    expect(() => blendFuels([{ fuel: 'ethanol', volumeShare: NaN }])).toThrow('invalid volumeShare: NaN')
    const negative = [
      { fuel: 'ethanol', volumeShare: -0.2 },
      { fuel: 'propane', volumeShare: 1.2 },
    ] as const
    expect(() => blendFuels(negative)).toThrow('invalid volumeShare: -0.2')
    expect(() => blendFuels([{ fuel: 'kerosene' as FuelId, volumeShare: 1 }])).toThrow(
      'unknown fuel: kerosene',
    )
  })

  test('createFuel refuses a density of 0 and keeps an unknown heating value NaN', () => {
    const known = { name: 'own', composition: { carbon: 1, hydrogen: 2, oxygen: 0 }, heatingValueMjKg: NaN }
    expect(() => createFuel({ ...known, densityKgM3: 0 })).toThrow('invalid densityKgM3: 0')
    expect(createFuel({ ...known, densityKgM3: 700 }).heatingValueMjKg).toBeNaN()
  })

  test('ethanolBlend falls steadily in ratio from gasoline to ethanol', () => {
    for (let pct = 0; pct < 100; pct += 5) {
      expect(ethanolBlend(pct + 5).stoichiometricRatio).toBeLessThan(ethanolBlend(pct).stoichiometricRatio)
    }
    expect(() => ethanolBlend(101)).toThrow('101')
    expect(() => ethanolBlend(NaN)).toThrow('NaN')
  })

  test('fuelInTank takes the ethanol share before the id, and gasoline for nothing', () => {
    expect(fuelInTank()).toBe(fuels.gasoline_e0)
    expect(fuelInTank({ id: 'e85' })).toBe(fuels.e85)
    expect(fuelInTank({ id: 'e85', ethanol_pct: 10 }).stoichiometricRatio).toBeCloseTo(
      fuels.gasoline_e10.stoichiometricRatio,
      12,
    )
    expect(() => fuelInTank({ id: 'water' })).toThrow('unknown fuel: water')
  })
})

describe('mixture ratios', () => {
  test('lambdaFromAfr undoes afrFromLambda for every built-in fuel', () => {
    for (const fuel of Object.values(fuels))
      expect(lambdaFromAfr(afrFromLambda(0.87, fuel), fuel)).toBeCloseTo(0.87, 12)
    expect(afrFromLambda(NaN, 'e85')).toBeNaN()
  })

  test('equivalenceRatio is its own inverse and NaN for nonsense', () => {
    expect(lambdaFromEquivalenceRatio(equivalenceRatio(0.8))).toBeCloseTo(0.8, 12)
    for (const nonsense of [0, -1, NaN]) expect(equivalenceRatio(nonsense)).toBeNaN()
  })
})

/** Dry exhaust, %, of CHyOz burnt at λ with the water-gas constant 3.5 below λ 1: an atom balance of its own. */
function burn(lambda: number, y: number, z: number) {
  const demand = 1 + y / 4 - z / 2
  const nitrogen = (lambda * demand * 79.05) / 20.95
  if (lambda >= 1) {
    const oxygen = (lambda - 1) * demand
    const dry = 1 + oxygen + nitrogen
    return { coPct: 0, co2Pct: 100 / dry, hcPpm: 0, o2Pct: (100 * oxygen) / dry, noxPpm: 0 }
  }
  const missing = 2 * (1 - lambda) * demand
  let low = 0
  let high = Math.min(1, missing)
  for (let step = 0; step < 100; step++) {
    const co = (low + high) / 2
    const hydrogen = missing - co
    const water = y / 2 - hydrogen
    // K = (CO · H₂O) / (CO₂ · H₂)
    if (hydrogen > 0 && water > 0 && co * water > 3.5 * (1 - co) * hydrogen) high = co
    else low = co
  }
  const co = (low + high) / 2
  const dry = 1 + (missing - co) + nitrogen
  return { coPct: (100 * co) / dry, co2Pct: (100 * (1 - co)) / dry, hcPpm: 0, o2Pct: 0, noxPpm: 0 }
}

describe('lambdaFromExhaustGas', () => {
  test('gives back the λ of synthetic exhaust for any hydrocarbon or alcohol', () => {
    fc.assert(
      fc.property(
        fc.double({ min: 0.75, max: 1.6, noNaN: true }),
        fc.double({ min: 1.2, max: 3.5, noNaN: true }),
        fc.double({ min: 0, max: 0.6, noNaN: true }),
        (lambda, hydrogen, oxygen) => {
          const measured = lambdaFromExhaustGas(burn(lambda, hydrogen, oxygen), {
            carbon: 1,
            hydrogen,
            oxygen,
          })
          expect(measured).toBeCloseTo(lambda, 6)
        },
      ),
    )
  })

  test('takes a fuel, an id or a composition alike, whatever its mole numbers', () => {
    const gas = { coPct: 1, co2Pct: 13.5, hcPpm: 100, o2Pct: 1, noxPpm: 200 }
    const byId = lambdaFromExhaustGas(gas, 'ethanol')
    expect(lambdaFromExhaustGas(gas, fuels.ethanol)).toBe(byId)
    expect(lambdaFromExhaustGas(gas, { carbon: 1, hydrogen: 3, oxygen: 0.5 })).toBeCloseTo(byId, 12)
  })

  test('counts HC and NOx that are left out as 0', () => {
    const gas = { coPct: 1, co2Pct: 13.5, o2Pct: 1 }
    expect(lambdaFromExhaustGas(gas)).toBe(lambdaFromExhaustGas({ ...gas, hcPpm: 0, noxPpm: 0 }))
  })

  test('is leaner with more oxygen and richer with more CO or HC', () => {
    const gas = { coPct: 1, co2Pct: 13.5, hcPpm: 200, o2Pct: 1, noxPpm: 0 }
    const lambda = lambdaFromExhaustGas(gas)
    expect(lambdaFromExhaustGas({ ...gas, o2Pct: 1.2 })).toBeGreaterThan(lambda)
    expect(lambdaFromExhaustGas({ ...gas, coPct: 1.5 })).toBeLessThan(lambda)
    expect(lambdaFromExhaustGas({ ...gas, hcPpm: 400 })).toBeLessThan(lambda)
  })

  test('gives NaN for NaN and for plain air, and throws with the value for impossible gas', () => {
    const gas = { coPct: 1, co2Pct: 13.5, hcPpm: 200, o2Pct: 1, noxPpm: 0 }
    expect(lambdaFromExhaustGas({ ...gas, coPct: NaN })).toBeNaN()
    expect(lambdaFromExhaustGas({ coPct: 0, co2Pct: 0, hcPpm: 0, o2Pct: 20.9, noxPpm: 0 })).toBeNaN()
    expect(lambdaFromExhaustGas({ ...gas, co2Pct: 0 })).toBeGreaterThan(0)
    expect(() => lambdaFromExhaustGas({ ...gas, o2Pct: -0.1 })).toThrow('invalid o2Pct: -0.1')
    expect(() => lambdaFromExhaustGas({ ...gas, co2Pct: 120 })).toThrow('120')
    expect(() => lambdaFromExhaustGas({ ...gas, co2Pct: 60, coPct: 50 })).toThrow('invalid gas sum')
    expect(() => lambdaFromExhaustGas(gas, { carbon: 0, hydrogen: 2, oxygen: 0 })).toThrow(
      'invalid carbon: 0',
    )
  })
})

describe('estimateLambdaFromExhaustGas', () => {
  const gas = { coPct: 0.5, co2Pct: 14.7, hcPpm: 120, o2Pct: 0.7, noxPpm: 400 }

  test('agrees with a seeded trial of the same errors', () => {
    // Small multiplicative generator (Lehmer, 48271 mod 2³¹ − 1): the same numbers each time.
    let seed = 12345
    const uniform = () => {
      seed = (seed * 48271) % 2147483647
      return seed / 2147483647
    }
    const spread = (value: number, { absolute, relative }: { absolute: number; relative: number }) =>
      Math.max(0, value + (2 * uniform() - 1) * Math.max(absolute, relative * value))
    const t = analyserClasses.I
    let sum = 0
    let squares = 0
    const count = 20000
    for (let i = 0; i < count; i++) {
      const lambda = lambdaFromExhaustGas({
        coPct: spread(gas.coPct, t.coPct),
        co2Pct: spread(gas.co2Pct, t.co2Pct),
        hcPpm: spread(gas.hcPpm, t.hcPpm),
        o2Pct: spread(gas.o2Pct, t.o2Pct),
        noxPpm: spread(gas.noxPpm, t.noxPpm),
      })
      sum += lambda
      squares += lambda * lambda
    }
    const deviation = Math.sqrt(squares / count - (sum / count) ** 2)
    const none = { hydrogenUncertainty: 0, oxygenUncertainty: 0, hydrocarbonUncertainty: 0 }
    const { standardUncertainty, lambda } = estimateLambdaFromExhaustGas(gas, undefined, none)
    expect(lambda).toBe(lambdaFromExhaustGas(gas))
    expect(Math.abs(standardUncertainty / deviation - 1)).toBeLessThan(0.03)
  })

  test('is larger with a worse analyser and joins all contributions', () => {
    const good = estimateLambdaFromExhaustGas(gas)
    const poor = estimateLambdaFromExhaustGas(gas, undefined, { tolerances: analyserClasses.II })
    expect(poor.standardUncertainty).toBeGreaterThan(good.standardUncertainty)
    expect(good.standardUncertainty).toBeCloseTo(Math.hypot(...Object.values(good.contributions)), 12)
  })

  test('passes NaN on', () => {
    expect(estimateLambdaFromExhaustGas({ ...gas, o2Pct: NaN }).standardUncertainty).toBeNaN()
  })
})
