import { describe, expect, it } from 'vitest'
import type { Mixture, SteadyPiece } from '../../core/contract/result.ts'
import { findHints } from '../../core/engine/hints.ts'
import { createRandom } from '../../simulator/random.ts'

const mixture = (error: number, iqr = 0.012): Mixture =>
  ({ bank: 1, seconds: 60, lambda_median: 1 + error, lambda_iqr: iqr, error }) as Mixture

/** A minute of idle whose speed scatters by a share from second to second, and falls by a fifth while a load is on, each half of sixteen seconds. */
function idlePieces(scatter: number, hasLoad: boolean): SteadyPiece[] {
  const random = createRandom(5, 'idle')
  return Array.from(
    { length: 60 },
    (_, i) =>
      ({
        bank: 1,
        state: 'idle',
        visit: 0,
        load: 0.36,
        rpm: (hasLoad && i % 16 < 8 ? 640 : 800) * (1 + scatter * random.normal()),
      }) as SteadyPiece,
  )
}

const hintsOf = (idle: number, cruise: number, scatter: number, iqr?: number, hasLoad = false) =>
  findHints({
    result: { mixture: { idle: mixture(idle, iqr), cruise: mixture(cruise) }, transients: [] },
    pieces: idlePieces(scatter, hasLoad),
    gains: [1, Number.NaN],
    cylinders: 4,
    bankName: undefined,
  })
const codes = (...car: Parameters<typeof hintsOf>) => hintsOf(...car).map(({ code }) => code)
const texts = (...car: Parameters<typeof hintsOf>) => hintsOf(...car).map(({ text }) => text)

describe('findHints', () => {
  it('is quiet about a car that is right, though its idle hunts a little', () => {
    expect(codes(-0.02, -0.02, 0.035)).toEqual([])
  })

  it('takes an idle far leaner than cruise for a leak, also where its speed is that of an older engine', () => {
    expect(codes(0.2, 0.04, 0.03)).toEqual(['exhaust_leak'])
    expect(codes(0.2, 0.06, 0.01)).toEqual(['exhaust_leak'])
  })

  it('takes it for no leak when cruise is as lean', () => {
    expect(codes(0.1, 0.11, 0.03)).toEqual([])
  })

  it('lets a large leak scatter as the flow of an idle does', () => {
    expect(codes(0.4, 0.04, 0.01, 0.04)).toEqual(['exhaust_leak'])
  })

  it('takes an idle whose λ is restless though its speed holds for overlap, and a steadier one for a leak', () => {
    expect(codes(0.1, -0.02, 0.03, 0.05)).toEqual(['overlap_camshaft'])
    expect(codes(0.2, 0.02, 0.03, 0.034)).toEqual(['exhaust_leak'])
    expect(codes(0.2, 0.02, 0.03, 0.045)).toEqual([])
  })

  it('takes no idle for a leak beside a cruise that is lean by more than a leak would make it', () => {
    expect(codes(0.2, 0.07, 0.01)).toEqual(['exhaust_leak'])
    expect(codes(0.2, 0.08, 0.01)).toEqual([])
  })

  it('takes no load that switches in and out for a shaking idle', () => {
    expect(codes(0.2, 0.04, 0.01, 0.012, true)).toEqual(['exhaust_leak'])
  })

  it('takes a lean idle that shakes for a misfire', () => {
    expect(codes(0.12, 0.1, 0.07)).toEqual(['misfire'])
  })

  it('thinks of a cylinder that never fires where idle and cruise are lean by much, however evenly the engine runs', () => {
    expect(codes(0.2, 0.17, 0.01)).toEqual(['misfire'])
    expect(codes(0.2, 0.09, 0.01)).toEqual([])
  })

  it('takes a lean idle whose λ comes and goes for a misfire, though its speed holds', () => {
    expect(codes(0.09, 0, 0.03, 0.1)).toEqual(['misfire'])
    expect(texts(0.09, 0, 0.03, 0.1)[0]).toContain('the speed holds')
    expect(texts(0.09, 0, 0.07, 0.1)[0]).toContain('unevenly')
    expect(codes(0.02, 0, 0.03, 0.1)).toEqual([])
  })

  it('speaks of the other bank only where a pressure sensor tells what power is', () => {
    const told = (manifoldKpa: number) =>
      findHints({
        result: { mixture: { power: mixture(0.05) }, transients: [] },
        pieces: [{ bank: 1, state: 'power', visit: 0, load: 0.9, rpm: 3000, manifoldKpa } as SteadyPiece],
        gains: [1, Number.NaN],
        cylinders: 8,
        bankName: undefined,
      }).map(({ code }) => code)
    expect(told(95)).toEqual(['other_bank'])
    expect(told(Number.NaN)).toEqual([])
  })
})
