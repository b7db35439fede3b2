import { describe, expect, test } from 'vitest'
import { drivePlan, isQuestion, questions } from '../../dashboard/words/drivePlan.ts'

const missing = (channel: string) => ({ channel, would_give: '' })

describe('drivePlan', () => {
  test('a question asks for what it takes and no more', () => {
    expect(drivePlan('cruise', undefined, []).lines.map(({ name, amount }) => `${name} ${amount}`)).toEqual([
      'steady cruise at three speeds 90\u202fs',
    ])
    expect(drivePlan('pump', undefined, []).lines.map(({ name, amount }) => `${name} ${amount}`)).toEqual([
      'tip-ins from cruise 10 times',
      'tip-ins from idle 5 times',
    ])
  })

  test('every question takes some minutes, all of them together the longest', () => {
    const minutes = questions.map(({ id }) => drivePlan(id, undefined, []).minutes)
    expect(Math.min(...minutes)).toBeGreaterThan(0)
    expect(minutes[0]).toBe(Math.max(...minutes))
  })

  test('what was driven already is counted, and done when it is enough', () => {
    const { lines } = drivePlan(
      'pump',
      [
        { item: 'tip_in_cruise', have: 4, want: 10 },
        { item: 'tip_in_idle', have: 6, want: 5 },
      ],
      [],
    )
    expect(lines.map(({ amount, isDone }) => [amount, isDone])).toEqual([
      ['4 of 10', false],
      ['6', true],
    ])
  })

  test('a channel that lacks is told before the drive', () => {
    expect(drivePlan('idle', undefined, [missing('engine_speed')]).lines[0].lack).toBe('needs engine speed')
    expect(drivePlan('idle', undefined, [missing('throttle')]).lines[0].lack).toBe('')
    const blind = [missing('throttle'), missing('manifold_pressure')]
    expect(drivePlan('power', undefined, blind).lines[0].lack).toBe('needs throttle or manifold pressure')
  })

  test('full throttle and a cold start come with their cautions, the rest without', () => {
    expect(drivePlan('power', undefined, []).cautions[0]).toMatch(/closed course.*Lift/)
    expect(drivePlan('all', undefined, []).cautions).toHaveLength(1)
    expect(drivePlan('choke', undefined, []).cautions[0]).toMatch(/closed garage/)
    expect(drivePlan('cruise', undefined, []).cautions).toEqual([])
  })

  test('the choke is judged from cold, all else warm', () => {
    expect(drivePlan('choke', undefined, []).warmUpMinutes).toBe(0)
    expect(drivePlan('idle', undefined, []).warmUpMinutes).toBeGreaterThan(0)
  })

  test('only its own questions are taken from stored settings', () => {
    expect(isQuestion('power')).toBe(true)
    expect(isQuestion('speed')).toBe(false)
    expect(isQuestion(undefined)).toBe(false)
  })
})
