import { describe, expect, it } from 'vitest'
import type { RunAnalysis, SteadyPiece } from '../../core/contract/result.ts'
import { surePieces } from '../../core/tuning/surePieces.ts'

const piece = (timeS: number, state: SteadyPiece['state']): SteadyPiece => ({
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
  coolantC: 70,
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
})
