import { describe, expect, it } from 'vitest'
import { killWhileRecording } from '../support/killDrill.ts'

describe('a recording bridge that is killed', () => {
  // Moments spread over the writer's 200 ms beat; many more are tried in the benchmark.
  it.each([5, 130, 400])(
    '%i ms into it leaves a readable run that lacks at most the last second',
    async (afterMs) => {
      const { lostS, unreadable } = await killWhileRecording(afterMs)
      expect(unreadable).toBe(0)
      expect(lostS).toBeLessThanOrEqual(1)
    },
  )
})
