import { describe, expect, test } from 'vitest'
import { ExhaustPath } from '../../simulator/exhaust.ts'
import { resolveParameters } from '../../simulator/parameters.ts'
import { createRandom } from '../../simulator/random.ts'
import {
  flowFactor,
  flowFactorFast,
  orificeAirFlowGS,
  pumpedAirFlowGS,
} from '../../simulator/throttleFlow.ts'
import { type FilmParameters, injectedFilmInto, lambdaAfterStep } from '../../simulator/wallFilm.ts'

describe('flowFactor', () => {
  test('is choked below the critical ratio and zero at equal pressures', () => {
    // Heywood appendix C, γ = 1.4: critical ratio 0.528282, choked factor 0.684731.
    expect(flowFactor(0.3)).toBeCloseTo(0.684731, 5)
    expect(flowFactor(0.528282)).toBeCloseTo(0.684731, 5)
    expect(flowFactor(1)).toBe(0)
  })

  test.each([
    { boreMm: 5, cd: 0.8, pa: 101325, k: 293.15, ratio: 0.3, flow: 3.75693 },
    { boreMm: 5, cd: 0.8, pa: 101325, k: 293.15, ratio: 0.8, flow: 3.07619 },
    { boreMm: 12, cd: 0.75, pa: 98000, k: 303.15, ratio: 0.95, flow: 8.66915 },
  ])(
    'gives the published throttle flow at ratio $ratio through $boreMm mm',
    ({ boreMm, cd, pa, k, ratio, flow }) => {
      const area = (Math.PI / 4) * boreMm ** 2
      expect(orificeAirFlowGS(area, cd, pa, k, ratio) / flow).toBeCloseTo(1, 4)
    },
  )

  test('by table differs from the law by less than a thousandth below a ratio of 0.99', () => {
    for (let ratio = 0.1; ratio < 0.99; ratio += 0.0137) {
      expect(Math.abs(flowFactorFast(ratio) - flowFactor(ratio))).toBeLessThan(0.001 * 0.684731)
    }
  })
})

describe('pumpedAirFlowGS', () => {
  test.each([
    { litres: 1.6, rpm: 800, filling: 0.75, pa: 35000, k: 313, flow: 3.11642 },
    { litres: 2, rpm: 2500, filling: 0.85, pa: 60000, k: 318, flow: 23.2795 },
    { litres: 5, rpm: 4500, filling: 0.82, pa: 97000, k: 310, flow: 167.598 },
  ])('gives the published flow of $litres l at $rpm rpm', ({ litres, rpm, filling, pa, k, flow }) => {
    expect(pumpedAirFlowGS(litres, rpm, filling, pa, k) / flow).toBeCloseTo(1, 3)
  })
})

describe('wall film', () => {
  test.each([
    { rpm: 1000, bar: 0.4, timeS: 0.89579, share: 0.5142 },
    { rpm: 1500, bar: 0.5, timeS: 0.71582, share: 0.459 },
    { rpm: 2500, bar: 0.7, timeS: 0.56, share: 0.3486 },
    { rpm: 3000, bar: 0.95, timeS: 0.52291, share: 0.25185 },
  ])('injectedFilmInto follows the published fit at $rpm rpm', ({ rpm, bar, timeS, share }) => {
    const film: FilmParameters = { share: 0, timeS: 0 }
    injectedFilmInto(film, rpm, bar)
    expect(film.timeS).toBeCloseTo(timeS, 4)
    expect(film.share).toBeCloseTo(share, 4)
  })

  test.each([
    { share: 0.3, timeS: 0.5, t: 0, lambda: 1.05263 },
    { share: 0.3, timeS: 0.5, t: 0.5, lambda: 1.01874 },
    { share: 0.5, timeS: 1, t: 0, lambda: 1.09091 },
    { share: 0.5, timeS: 1, t: 1, lambda: 1.03163 },
  ])(
    'lambdaAfterStep goes lean as published: X $share, τ $timeS s, at $t s',
    ({ share, timeS, t, lambda }) => {
      expect(lambdaAfterStep(share, timeS, 0.2, t)).toBeCloseTo(lambda, 4)
    },
  )
})

describe('ExhaustPath', () => {
  const dt = 0.001

  /** Time after a step of φ at which half of it is seen at the tip, s. */
  function stepDelayS(
    volumeL: number,
    rpm: number,
    gasGS: number,
    gasK: number,
    mixingShare: number,
  ): number {
    const p = resolveParameters({ 'exhaust.volume_L': volumeL, 'exhaust.mixing_share': mixingShare })
    const path = new ExhaustPath(p, gasGS)
    for (let i = 0; i < 4000; i++) path.step(dt, 0, rpm, gasGS, gasK)
    for (let i = 1; i < 4000; i++) {
      path.step(dt, 1, rpm, gasGS, gasK)
      if (path.phi >= 0.5) return i * dt
    }
    return Number.NaN
  }

  test.each([
    { rpm: 850, litres: 1.6, filling: 0.75, pa: 35000, manifoldK: 313, exhaustK: 650, totalS: 0.56636 },
    { rpm: 2500, litres: 1.6, filling: 0.82, pa: 55000, manifoldK: 315, exhaustK: 800, totalS: 0.11051 },
    { rpm: 5500, litres: 1.6, filling: 0.85, pa: 97000, manifoldK: 310, exhaustK: 1050, totalS: 0.030255 },
  ])('delays by one and a half revolutions and the plug, as published at $rpm rpm', (row) => {
    // Gas is air and its fuel at λ = 1.
    const gasGS = pumpedAirFlowGS(row.litres, row.rpm, row.filling, row.pa, row.manifoldK) * (1 + 1 / 14.6)
    expect(stepDelayS(3, row.rpm, gasGS, row.exhaustK, 0)).toBeCloseTo(row.totalS, 2)
  })

  test('with mixing keeps the mean age of the gas', () => {
    const p = resolveParameters({ 'exhaust.volume_L': 3, 'exhaust.mixing_share': 0.3 })
    const path = new ExhaustPath(p, 4)
    for (let i = 0; i < 3000; i++) path.step(dt, 0, 850, 4, 650)
    let area = 0
    for (let i = 0; i < 6000; i++) {
      path.step(dt, 1, 850, 4, 650)
      area += (1 - path.phi) * dt
    }
    expect(area).toBeCloseTo(path.plugAgeS + path.mixingS, 1)
  })
})

describe('createRandom', () => {
  test('gives the same sequence for the same seed and stream, another for another stream', () => {
    const draw = (seed: number, stream: string) => {
      const random = createRandom(seed, stream)
      return Array.from({ length: 5 }, () => random.uniform())
    }
    expect(draw(7, 'a')).toEqual(draw(7, 'a'))
    expect(draw(7, 'a')).not.toEqual(draw(7, 'b'))
    expect(draw(7, 'a')).not.toEqual(draw(8, 'a'))
  })

  test('normal numbers have mean 0 and deviation 1', () => {
    const random = createRandom(3, 'moments')
    let sum = 0
    let squares = 0
    const n = 100_000
    for (let i = 0; i < n; i++) {
      const x = random.normal()
      sum += x
      squares += x * x
    }
    expect(Math.abs(sum / n)).toBeLessThan(0.02)
    expect(Math.abs(squares / n - 1)).toBeLessThan(0.02)
  })
})
