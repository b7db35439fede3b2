import type { TrueOpening } from './transientScore.ts'

/*
 * True openings of a car whose board has no throttle sensor, by the definition of the trade for such: manifold pressure that rises faster than
 * 80 kPa/s by more than 12 kPa. Told on the noise-free pressure, written anew here from those words.
 */

const RATE_KPA_S = 80
const SIZE_KPA = 12
/** So near to the limits that a judge may see it either way. */
const BORDERLINE_SHARE = 0.25
/** A rate is seen over so long, s; a rise that pauses for so long is over, s. */
const WINDOW_S = 0.1
const PAUSE_S = 0.08
const RUNNING_RPM = 400

/** All rises of a run that are fast and large enough, or nearly. */
export function pressureRises(
  timeS: ArrayLike<number>,
  kPa: ArrayLike<number>,
  rpm?: ArrayLike<number>,
): TrueOpening[] {
  const out: TrueOpening[] = []
  const stepS = timeS[1] - timeS[0]
  const back = Math.max(1, Math.round(WINDOW_S / stepS))
  const pause = Math.max(1, Math.round(PAUSE_S / stepS))
  const isRunning = (i: number) => !rpm || rpm[i] > RUNNING_RPM
  let i = back
  while (i < timeS.length) {
    if (!(kPa[i] - kPa[i - back] > RATE_KPA_S * (1 - BORDERLINE_SHARE) * WINDOW_S)) {
      i++
      continue
    }
    let onset = i - back
    while (onset < i && kPa[onset + 1] - kPa[onset] < 0.02 * SIZE_KPA) onset++
    let end = i
    let fastest = 0
    while (end + 1 < timeS.length) {
      fastest = Math.max(fastest, (kPa[end] - kPa[Math.max(0, end - back)]) / WINDOW_S)
      const ahead = Math.min(timeS.length - 1, end + pause)
      if (kPa[ahead] - kPa[end] < 0.02 * SIZE_KPA) break
      end++
    }
    const size = kPa[end] - kPa[onset]
    if (size > SIZE_KPA * (1 - BORDERLINE_SHARE) && isRunning(onset) && isRunning(end)) {
      const isSure = fastest > RATE_KPA_S * (1 + BORDERLINE_SHARE) && size > SIZE_KPA * (1 + BORDERLINE_SHARE)
      out.push({ startS: timeS[onset], borderline: !isSure })
    }
    i = end + back
  }
  return out
}
