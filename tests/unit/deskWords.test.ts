import { describe, expect, test } from 'vitest'
import { newestPair } from '../../dashboard/parts/compare/newestPair.ts'
import { axisTicks, isTimeAxis } from '../../dashboard/parts/picture/axisTicks.ts'
import { bankLines } from '../../dashboard/parts/run/bankWords.ts'
import { coverageLine } from '../../dashboard/words/coverageLine.ts'
import { lackOfItem, lackOfStates, untrustedText } from '../../dashboard/words/lackWords.ts'
import { lambdaUnit } from '../../dashboard/words/mixtureUnit.ts'

const without = (...channels: string[]) => channels.map((channel) => ({ channel, would_give: 'more' }))

describe('the two runs that Compare proposes', () => {
  const runs = [
    { id: 'p2', car: 'pebble' },
    { id: 'm2', car: 'marigold' },
    { id: 'p1', car: 'pebble' },
    { id: 'm1', car: 'marigold' },
  ]

  test('are the two newest of the car in use, the older one first', () => {
    expect(newestPair(runs, 'marigold')).toEqual(['m1', 'm2'])
  })

  test('are of the car driven last when the car in use has no two', () => {
    expect(newestPair(runs, 'juniper')).toEqual(['p1', 'p2'])
    expect(newestPair(runs, undefined)).toEqual(['p1', 'p2'])
  })

  test('are the two newest of all where no car has two, and none without runs', () => {
    expect(newestPair(runs.slice(0, 2), 'marigold')).toEqual(['m2', 'p2'])
    expect(newestPair([], 'marigold')).toEqual([undefined, undefined])
  })
})

describe('what a board would have to send', () => {
  test('nothing more where engine speed and one of throttle and pressure come', () => {
    for (const missing of [[], without('throttle'), without('manifold_pressure', 'coolant')]) {
      expect(lackOfStates(missing)).toBe('')
      expect(lackOfItem('pull', missing)).toBe('')
    }
  })

  test('a load, for all that happens under load, where neither throttle nor pressure comes', () => {
    const missing = without('throttle', 'manifold_pressure')
    expect(lackOfItem('warm_idle', missing)).toBe('')
    expect(lackOfItem('overrun', missing)).toBe('')
    expect(lackOfItem('tip_in_idle', missing)).toBe('throttle or manifold pressure')
  })

  test('engine speed before all, on a board of the mixture alone', () => {
    const missing = without('engine_speed', 'throttle', 'manifold_pressure')
    expect(lackOfStates(missing)).toBe('engine speed')
    expect(lackOfItem('warm_idle', missing)).toBe('engine speed')
    expect(lackOfItem('pull', missing)).toBe('engine speed and throttle or manifold pressure')
  })
})

describe('what the drive covered', () => {
  const cruise = { item: 'cruise', have: 79.6, want: 90, unit: 's' }

  test('counts up to what is wanted and says how much more', () => {
    expect(coverageLine(cruise, [])).toMatchObject({
      isEnough: false,
      have: '79 of 90\u202fs',
      rest: '11\u202fs more',
    })
    expect(coverageLine({ ...cruise, have: 169.2 }, [])).toMatchObject({
      isEnough: true,
      have: '169\u202fs',
      rest: '',
    })
  })

  test('asks for the channel, not for more driving, where nothing can be counted', () => {
    const line = coverageLine({ ...cruise, have: 0 }, without('throttle', 'manifold_pressure'))
    expect(line).toMatchObject({ isEnough: false, have: '', rest: 'needs throttle or manifold pressure' })
  })
})

test('what was left out is told in words, without what lasted under half a second', () => {
  expect(untrustedText({ warming: 11.4, delay_edge: 16, gap: 0.4 })).toBe(
    'sensor warming 11\u202fs, just after a change of load 16\u202fs',
  )
  expect(untrustedText({})).toBe('')
})

describe('two banks', () => {
  const of = (lambda_median: number | null, seconds = 60) => ({
    bank: 1 as const,
    seconds,
    lambda_median,
    lambda_iqr: 0.01,
    ci95: null,
    target: 0.95,
    error: null,
    inside_share: null,
  })

  test('stand side by side where both were long enough in a state, and say when they differ', () => {
    const lines = bankLines(
      {
        mixture: { idle: of(0.95), cruise: of(1.02), power: of(0.86, 4), part_throttle: of(null) },
        mixture_2: { idle: of(0.99), cruise: of(1.03), power: of(0.95), part_throttle: of(0.97) },
      },
      lambdaUnit,
    )
    expect(lines.map(({ state, values, isApart }) => [state, ...values, isApart])).toEqual([
      ['idle', '0.95', '0.99', true],
      ['cruise', '1.02', '1.03', false],
    ])
  })

  test('are not spoken of with one sensor', () => {
    expect(bankLines({ mixture: { idle: of(0.95) }, mixture_2: undefined }, lambdaUnit)).toEqual([])
  })
})

test('an axis of time steps as a clock does', () => {
  expect(isTimeAxis('time from the start, min:s')).toBe(true)
  expect(isTimeAxis('engine speed, rpm')).toBe(false)
  expect(axisTicks(0, 616, 12, true)).toEqual([0, 60, 120, 180, 240, 300, 360, 420, 480, 540, 600])
})
