import { describe, expect, it } from 'vitest'
import type { WarmUp } from '../../core/contract/result.ts'
import { isWarmStart, warmUpText } from '../../dashboard/words/warmUpWords.ts'

const warmUp: WarmUp = {
  crank_s: 0.32,
  stalls: 0,
  self_idle_s: 0,
  self_idle_coolant_C: 82,
  choke: 'unknown',
  lambda_by_coolant: [],
}

describe('warmUpText', () => {
  it('says of an engine that was started warm why it tells nothing of the choke', () => {
    const text = warmUpText({ ...warmUp, start: 'warm' }, [])
    expect(text).toMatch(
      /^Cranked 0[.,]3.s, no stall, .*\. The engine was started warm: the choke is judged by a cold start\.$/,
    )
    expect(isWarmStart({ ...warmUp, start: 'warm' })).toBe(true)
  })

  it('leaves it open otherwise', () => {
    expect(warmUpText({ ...warmUp, start: 'cold' }, [])).toContain('cannot be told from this run.')
    expect(isWarmStart(warmUp)).toBe(false)
    expect(warmUpText({ ...warmUp, start: 'warm', choke: 'late' }, [])).toContain('came off too late')
  })

  it('speaks of the cold enrichment where an injection has no choke', () => {
    const text = (choke: WarmUp['choke'], start: string) =>
      warmUpText({ ...warmUp, choke, start }, [], { id: 'tbi', metering: 'throttle_body_injection' })
    expect(text('late', 'cold')).toContain('The cold enrichment was too much')
    expect(text('unknown', 'warm')).toContain('the cold enrichment is judged by a cold start')
    expect(text('early', 'cold') + text('unknown', 'cold')).not.toContain('choke')
  })
})
