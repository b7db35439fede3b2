import { describe, expect, it } from 'vitest'
import type { RunAnalysis, SteadyPiece } from '../../core/contract/result.ts'
import { surePieces, withoutColdPower } from '../../core/tuning/surePieces.ts'

const piece = (timeS: number, state: SteadyPiece['state'], coolantC = 70): SteadyPiece => ({
  bank: 1,
  state,
  visit: 0,
  timeS,
  seconds: 1,
  lambda: 0.88,
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
  it('leaves out the ten warm minutes that a late choke still feeds, so that no jet is blamed for it', () => {
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

  it('takes full load of a board that tells no coolant', () => {
    expect(withoutColdPower([piece(10, 'power', Number.NaN)], undefined)).toHaveLength(1)
  })
})
