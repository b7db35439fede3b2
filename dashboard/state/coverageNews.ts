import type { LiveAlarm } from '../../core/contract/live.ts'
import type { CoverageItem } from '../../core/contract/result.ts'
import { coveredCode } from '../words/alarmWords.ts'

/** What has just been covered is told for so long, s (our own decision). */
const toldS = 10

/** Tells once, as an advisory, when an item of the test drive is complete. */
export class CoverageNews {
  #open = new Set<string>()
  #news: LiveAlarm[] = []

  /** @param timeS the reading's own time; @returns what is news now */
  step(coverage: readonly CoverageItem[], timeS: number): readonly LiveAlarm[] {
    for (const { item, have, want } of coverage) {
      if (have < want) this.#open.add(item)
      else if (this.#open.delete(item)) {
        this.#news = [
          ...this.#news,
          {
            code: coveredCode(item),
            priority: 'advisory',
            startS: timeS,
            endS: Number.NaN,
            worst: Number.NaN,
          },
        ]
      }
    }
    if (this.#news.some(({ startS }) => isOld(startS, timeS)))
      this.#news = this.#news.filter(({ startS }) => !isOld(startS, timeS))
    return this.#news
  }
}

/** A clock that was set back (a bridge that started again) makes news old as well. */
function isOld(startS: number, timeS: number): boolean {
  return !(timeS >= startS && timeS - startS < toldS)
}
