/** Most callers remembered; beyond it the oldest is forgotten. */
const mostKeys = 10_000

/** Allows so many calls a period for each key. Memory is bounded. */
export function createRateLimit(options: { calls: number; periodMs: number; nowMs?: () => number }): {
  /** False when the key has had its calls. */
  take(key: string): boolean
} {
  const { calls, periodMs } = options
  const nowMs = options.nowMs ?? (() => performance.now())
  const windows = new Map<string, { startMs: number; used: number }>()
  return {
    take(key) {
      const now = nowMs()
      let entry = windows.get(key)
      if (!entry || now - entry.startMs >= periodMs) {
        entry = { startMs: now, used: 0 }
        windows.delete(key)
        windows.set(key, entry)
        if (windows.size > mostKeys) windows.delete(windows.keys().next().value as string)
      }
      return ++entry.used <= calls
    },
  }
}
