export interface RetryDelayOptions {
  /** First delay, ms. */
  firstMs?: number
  /** The delay doubles up to this, ms. */
  longestMs?: number
  /** Share by which a delay may be shorter or longer, so that several do not knock in step. */
  jitter?: number
  /** Random number in [0, 1). */
  random?: () => number
}

/** Common practice for local links, no source: at once for a loose plug, never busy for a missing one. */
export const defaultRetryDelay = Object.freeze({ firstMs: 250, longestMs: 5000, jitter: 0.25 })

/** Growing delays between attempts: 0.25 s doubling to 5 s, with jitter. `reset()` after a success. */
export function createRetryDelay(options: RetryDelayOptions = {}): { nextMs(): number; reset(): void } {
  const { firstMs, longestMs, jitter } = { ...defaultRetryDelay, ...options }
  const random = options.random ?? Math.random
  let delayMs = firstMs
  return {
    nextMs() {
      const spread = 1 + jitter * (2 * random() - 1)
      const answer = delayMs * spread
      delayMs = Math.min(longestMs, delayMs * 2)
      return Math.min(longestMs, answer)
    },
    reset() {
      delayMs = firstMs
    },
  }
}
