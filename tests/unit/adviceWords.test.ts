import { describe, expect, it } from 'vitest'
import type { AdviceResult, Change } from '../../core/contract/advice.ts'
import type { Fitted } from '../../core/contract/car.ts'
import {
  chokeText,
  isNoPart,
  lookOf,
  offText,
  otherWarnings,
  swappedSince,
} from '../../dashboard/parts/advice/adviceWords.ts'

const jet = (label: string, bore_mm: number) => ({ label, bore_mm })
const change: Change = {
  circuit: 'main',
  part: 'main_jet',
  direction: 'leaner',
  from: jet('77', 2.01),
  to: jet('72', 1.88),
  area_factor: 0.87,
  expected_lambda: 1.02,
  expected_ci95: [1, 1.04],
  because: [],
}
const driven: Fitted = { main_jet: jet('77', 2.01), power_restriction: jet('55', 1.4) }

describe('swappedSince', () => {
  it('says nothing while the parts of the drive are in, or nobody knows what is', () => {
    expect(swappedSince(change, driven, driven)).toBeUndefined()
    expect(swappedSince(change, undefined, driven)).toBeUndefined()
    // A part that the drive did not note is no change.
    expect(swappedSince(change, { ...driven, squirter: jet('31', 0.79) }, driven)).toBeUndefined()
  })

  it('knows the advised size when it is in', () => {
    const since = swappedSince(change, { ...driven, main_jet: jet('72', 1.88) }, driven)
    expect(since).toMatchObject({ isDone: true, drive: 'Drive with main jet 72' })
    expect(since?.text).toContain('is in since that drive')
  })

  it('asks to drive first when another size is in, and names it', () => {
    const since = swappedSince(change, { ...driven, main_jet: jet('75', 1.96) }, driven)
    expect(since).toMatchObject({ isDone: false, drive: 'Drive with main jet 75' })
    expect(since?.text).toMatch(/main jet 77 → 75/)
  })

  it('asks to drive first when another part was changed, also beside the advised one', () => {
    const other = swappedSince(change, { ...driven, power_restriction: jet('57', 1.45) }, driven)
    expect(other).toMatchObject({ isDone: false, drive: 'Drive with what is in now' })
    expect(other?.text).toMatch(/power restriction 55 → 57/)
    const both = { main_jet: jet('72', 1.88), power_restriction: jet('57', 1.45) }
    expect(swappedSince(change, both, driven)?.isDone).toBe(false)
  })

  it('takes the advice for what was driven with where the run noted no parts', () => {
    expect(swappedSince(change, driven, {})).toBeUndefined()
    expect(swappedSince(change, { main_jet: jet('75', 1.96) }, {})?.isDone).toBe(false)
  })
})

describe('what is off and stays so', () => {
  const stuck = 'Nothing in the box brings part throttle nearer to its band.'

  it('is said once, in the sentence or in the warning beside it', () => {
    expect(offText(['part throttle (lean)'], false, [])).toBe(
      'Part throttle (lean) is off, and nothing in the parts box brings it nearer.',
    )
    expect(offText(['part throttle (lean)'], false, [stuck])).toBe('Part throttle (lean) is off.')
    expect(offText(['idle (rich)', 'cruise (lean)'], false, [])).toBe(
      'Idle (rich), cruise (lean) are off, and nothing in the parts box brings them nearer.',
    )
    expect(offText(['idle (rich)'], true, [])).toBe('Idle (rich) is off.')
  })

  it('stands under a headline that says "No part at hand" already', () => {
    expect(isNoPart('No part at hand makes it better.')).toBe(true)
    expect(isNoPart('A size is missing: main jet of about 1.89 mm.')).toBe(false)
  })
})

describe('the note on the choke', () => {
  const advice = (also: Change[]) => ({
    ...({ format: 'floatbowl-advice 1', done: false, next: null, states: {} } as const),
    also,
    choke: { text: 'The choke comes off too late.' },
  })

  it('is left to the change of the choke where there is one', () => {
    expect(chokeText(advice([]))).toBe('The choke comes off too late.')
    expect(chokeText(advice([change]))).toBe('The choke comes off too late.')
    expect(chokeText(advice([{ ...change, circuit: 'choke', part: 'choke' }]))).toBeUndefined()
  })
})

describe('a look that is wanted', () => {
  const look = { check: 'exhaust_leak', text: 'Look first.', test: 'Listen.' }
  const advice = (more: object) => ({ next: null, states: {}, ...more }) as unknown as AdviceResult

  it('is told in its own place and not again among the warnings', () => {
    const wanted = advice({ look, warnings: ['Look first. Listen.', 'Power is lean.'] })
    expect(lookOf(wanted)).toEqual(look)
    expect(otherWarnings(wanted)).toEqual(['Power is lean.'])
    expect(otherWarnings(advice({ warnings: ['Power is lean.'] }))).toEqual(['Power is lean.'])
    expect(lookOf(advice({}))).toBeUndefined()
  })
})
