import { describe, expect, test } from 'vitest'
import type { Swap } from '../../core/contract/api.ts'
import { differingParts, fittedAt, formerSets } from '../../dashboard/parts/fitted/partsHistory.ts'

const jet = (label: string) => ({ label, bore_mm: Number(label) / 38.4 })
const swap = (id: string, at: string, part: string, from: string | null, to: string): Swap => ({
  id,
  at,
  part,
  from: from === null ? null : jet(from),
  to: jet(to),
})

describe('formerSets', () => {
  const swaps = [
    swap('a', '2025-06-01T10:00:00Z', 'main_jet', '70', '72'),
    swap('b', '2025-06-01T10:30:00Z', 'squirter', '31', '35'),
    swap('c', '2025-06-03T18:00:00Z', 'main_jet', '72', '71'),
    swap('d', '2025-06-10T09:00:00Z', 'pump_cam', null, '5'),
  ]
  const now = { main_jet: jet('71'), squirter: jet('35'), pump_cam: jet('5') }
  const sets = formerSets(now, swaps)

  test('makes one set of the swaps of one job and walks back to what was there before the log', () => {
    expect(sets.map((set) => [set.since, set.until, set.swaps.map(({ id }) => id).join('')])).toEqual([
      [undefined, '2025-06-01T10:00:00Z', ''],
      ['2025-06-01T10:30:00Z', '2025-06-03T18:00:00Z', 'ab'],
      ['2025-06-03T18:00:00Z', '2025-06-10T09:00:00Z', 'c'],
      ['2025-06-10T09:00:00Z', undefined, 'd'],
    ])
    expect(sets[0].fitted).toEqual({ main_jet: jet('70'), squirter: jet('31') })
    expect(sets[1].fitted).toEqual({ main_jet: jet('72'), squirter: jet('35') })
    expect(sets[3].fitted).toEqual(now)
  })

  test('gives the same sets whatever the order of the log', () => {
    expect(formerSets(now, [...swaps].reverse())).toEqual(sets)
  })

  test('an empty log has one set, which is fitted now', () => {
    expect(formerSets(now, [])).toEqual([{ since: undefined, until: undefined, fitted: now, swaps: [] }])
  })

  test('fittedAt finds the set of a moment, the first one before the log', () => {
    expect(fittedAt(sets, '2025-05-01T00:00:00Z').main_jet).toEqual(jet('70'))
    expect(fittedAt(sets, '2025-06-02T00:00:00Z').main_jet).toEqual(jet('72'))
    expect(fittedAt(sets, '2025-07-01T00:00:00Z').pump_cam).toEqual(jet('5'))
  })

  test('differingParts names parts that are another size, or only in one of the sets', () => {
    expect(differingParts(sets[0].fitted, now).sort()).toEqual(['main_jet', 'pump_cam', 'squirter'])
    expect(differingParts(now, { ...now })).toEqual([])
  })
})
