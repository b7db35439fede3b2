import { describe, expect, it } from 'vitest'
import type { RunAnalysis, SteadyPiece } from '../../core/contract/result.ts'
import { chokeFedUntilS, withoutColdPower } from '../../core/tuning/chokeFuel.ts'
import { circuitVerdicts } from '../../core/tuning/circuitVerdicts.ts'
import { surePieces } from '../../core/tuning/surePieces.ts'
import { tipIn } from '../support/jettingCar.ts'
import { syntheticResult } from '../support/syntheticRun.ts'

const piece = (timeS: number, state: SteadyPiece['state'], coolantC = 70, lambda = 0.88): SteadyPiece => ({
  bank: 1,
  state,
  visit: 0,
  timeS,
  seconds: 1,
  lambda,
  rpm: 2000,
  load: 0.5,
  manifoldKpa: 50,
  throttlePct: 20,
  coolantC,
})

const run = (choke: 'late' | 'fine') =>
  ({
    result: { warm_up: { choke }, map: { load_channel: 'manifold_pressure' } },
    pieces: [piece(50, 'warm_up'), piece(200, 'cruise'), piece(700, 'idle'), piece(801, 'cruise')],
  }) as unknown as RunAnalysis

const timesOf = (choke: 'late' | 'fine') => surePieces(run(choke), undefined).map(({ timeS }) => timeS)

describe('surePieces', () => {
  it('leaves out ten warm minutes after a late choke where the run does not tell when it let go, so that no jet is blamed for it', () => {
    expect(timesOf('late')).toEqual([50, 801])
  })

  it('takes all of a run whose choke came off in time', () => {
    expect(timesOf('fine')).toEqual([50, 200, 700, 801])
  })

  it('leaves out full load on a cold engine, which the choke still feeds, by the limit of the car', () => {
    const pieces = [piece(10, 'power', 45), piece(20, 'power', 65), piece(30, 'cruise', 45)]
    const kept = (state_limits?: Record<string, number>) =>
      withoutColdPower(pieces, { id: 'test', state_limits }).map(({ timeS }) => timeS)
    expect(kept()).toEqual([20, 30])
    expect(kept({ warm_C: 70 })).toEqual([30])
    expect(kept({ warm_C: 40 })).toEqual([10, 20, 30])
  })

  describe('of an engine held at speed in the garage', () => {
    const at = (timeS: number, roadSpeedMs: number, state: SteadyPiece['state'] = 'cruise') => ({
      ...piece(timeS, state),
      roadSpeedMs,
    })
    const many = (count: number, fromS: number, roadSpeedMs: number) =>
      Array.from({ length: count }, (_, i) => at(fromS + i, roadSpeedMs))
    const kept = (pieces: SteadyPiece[]) =>
      surePieces({ ...run('fine'), pieces } as RunAnalysis, undefined).map(({ timeS }) => timeS)

    it('leaves those seconds out where cruise was driven as well, and keeps idle', () => {
      const told = kept([at(10, 0, 'idle'), ...many(60, 100, 0.3), ...many(20, 300, 14)])
      expect(told).toHaveLength(21)
      expect(told.slice(0, 2)).toEqual([10, 300])
    })

    it('keeps them on a rolling road, where hardly any was driven, and without road speed', () => {
      expect(kept([...many(60, 100, 0), ...many(19, 300, 14)])).toHaveLength(79)
      expect(kept([...many(60, 100, Number.NaN), ...many(20, 300, 14)])).toHaveLength(80)
    })

    it('keeps full load that was never driven', () => {
      expect(kept([...many(30, 100, 14), at(200, 0, 'power')])).toContain(200)
    })
  })

  it('takes full load of a board that tells no coolant', () => {
    expect(withoutColdPower([piece(10, 'power', Number.NaN)], undefined)).toHaveLength(1)
  })

  /** A late choke's run of a quarter of an hour in cruise, a piece a second from 100 s on. */
  const lateRun = (lambdaAt: (t: number) => number, more: readonly SteadyPiece[] = []) =>
    ({
      result: { warm_up: { choke: 'late' }, map: { load_channel: 'manifold_pressure' } },
      pieces: [
        ...Array.from({ length: 900 }, (_, i) => piece(100 + i, 'cruise', 80, lambdaAt(100 + i))),
        ...more,
      ],
    }) as unknown as RunAnalysis

  it('leaves nothing out of a run that is as rich at its end: that is the jets, and no choke', () => {
    expect(
      chokeFedUntilS(
        lateRun(() => 0.9),
        undefined,
      ),
    ).toBe(100)
  })

  it('finds when the choke let go', () => {
    const untilS = chokeFedUntilS(
      lateRun((t) => (t < 400 ? 0.9 : 1)),
      undefined,
    )
    // Told in blocks of a minute.
    expect(untilS).toBeGreaterThan(340)
    expect(untilS).toBeLessThan(460)
  })

  it('keeps full load that is lean while the choke feeds: without it, it is leaner still', () => {
    const stillFed = (t: number) => 0.85 + 0.0002 * t
    const powerOf = (lambda: number) =>
      surePieces(lateRun(stillFed, [piece(300, 'power', 75, lambda)]), undefined).filter(
        ({ state }) => state === 'power',
      )
    expect(powerOf(0.97)).toHaveLength(1)
    expect(powerOf(0.8)).toHaveLength(0)
  })

  it('lets the openings after the choke let go judge the pump, in a short run too', () => {
    const plain = syntheticResult({})
    const openings = Array.from({ length: 8 }, (_, i) => ({
      ...tipIn('lean_at_once'),
      start_s: 480 + 15 * i,
    }))
    const run = {
      ...lateRun((t) => (t < 400 ? 0.9 : 1)),
      result: {
        ...plain,
        warm_up: { choke: 'late' },
        map: { ...plain.map, load_channel: 'manifold_pressure' },
        transients: openings,
      },
    } as unknown as RunAnalysis
    const short = { ...run, pieces: run.pieces.filter(({ timeS }) => timeS < 620) }
    const pump = circuitVerdicts(short).find(({ circuit }) => circuit === 'pump')
    expect(pump?.verdict).toBe('lean')
  })
})
