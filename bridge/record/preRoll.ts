import type { CaptureKind } from '../../core/capture/formatCapture.ts'

export interface PreRollOptions {
  /** How long a line is kept, s. Default 30, as the capture format promises. */
  seconds?: number
  /** Most bytes kept, so that a flood of noise cannot grow it. Default 8 million: twice 30 s of a 921600 baud wire. */
  bytes?: number
}

export const defaultPreRoll = Object.freeze({ seconds: 30, bytes: 8_000_000 })

/** What one kept line costs beside its payload, bytes: roughly two objects. */
const overheadBytes = 64

interface Kept {
  timeS: number
  kind: CaptureKind
  payload: Uint8Array | string
}

/** The lines from before the button: the newest 30 s, bounded in size. */
export function createPreRoll(options: PreRollOptions = {}): {
  add(timeS: number, kind: CaptureKind, payload: Uint8Array | string): void
  /** Hands out what is kept, oldest first, and forgets it. */
  drain(nowS: number, each: (timeS: number, kind: CaptureKind, payload: Uint8Array | string) => void): void
  readonly bytes: number
} {
  const { seconds, bytes } = { ...defaultPreRoll, ...options }
  let kept: Kept[] = []
  let first = 0
  let held = 0
  const trim = (nowS: number) => {
    while (first < kept.length && (kept[first].timeS < nowS - seconds || held > bytes)) {
      held -= kept[first].payload.length + overheadBytes
      first++
    }
    // Moving what is left is worth it only once half of the array is dead: constant cost a line on average.
    if (first > 1024 && first * 2 > kept.length) {
      kept = kept.slice(first)
      first = 0
    }
  }
  return {
    get bytes() {
      return held
    },
    add(timeS, kind, payload) {
      kept.push({ timeS, kind, payload })
      held += payload.length + overheadBytes
      trim(timeS)
    },
    drain(nowS, each) {
      trim(nowS)
      for (let i = first; i < kept.length; i++) each(kept[i].timeS, kept[i].kind, kept[i].payload)
      kept = []
      first = 0
      held = 0
    },
  }
}
