import { describe, expect, it } from 'vitest'
import type { AnalysisResult } from '../../core/contract/result.ts'
import type { ChannelDeclaration } from '../../core/contract/samples.ts'
import { createPipeline } from '../../core/pipeline/createPipeline.ts'

interface Moment {
  lambda: number
  rpm?: number
  throttle?: number
  map?: number
  coolant?: number
  speed?: number
}

const DELAY_S = 0.2

/** Runs a made-up drive, at 100 Hz unless told otherwise; λ reaches the sensor 0.2 s after its cause and the car's profile says so. */
function analyse(seconds: number, at: (t: number) => Moment, without = '', hz = 100): AnalysisResult {
  const names = ['lambda', 'engine_speed', 'throttle', 'manifold_pressure', 'coolant', 'road_speed']
  const units = ['1', 'rpm', '%', 'kPa', 'C', 'm/s']
  const channels: ChannelDeclaration[] = names.map((name, index) => ({
    index,
    name: name === without ? 'unused' : name,
    unit: units[index],
    scale: 1,
    offset: 0,
  }))
  const count = seconds * hz
  const columns = names.map(() => new Float32Array(count))
  const timeS = new Float64Array(count)
  for (let i = 0; i < count; i++) {
    const t = i / hz
    const now = at(t)
    timeS[i] = t
    columns[0][i] = at(Math.max(0, t - DELAY_S)).lambda
    columns[1][i] = now.rpm ?? 2000
    columns[2][i] = now.throttle ?? 12
    columns[3][i] = now.map ?? 48
    columns[4][i] = now.coolant ?? 85
    columns[5][i] = now.speed ?? (now.rpm ?? 2000) / 120
  }
  const pipeline = createPipeline({
    car: {
      id: 'test',
      engine: { idle_rpm: 800 },
      delay: { a_s: DELAY_S, b_s_rpm_kPa: 0, events_used: 500 },
    },
  })
  pipeline.push({ source: 0, segment: 0, channels, count, timeS, columns })
  return pipeline.result()
}

/** Cruise, at 20 s an opening of some size and rate, λ after it as given by the seconds since. */
function opening(
  lambdaAfter: (s: number) => number,
  ratePctS = 200,
  size = 30,
  lambdaBefore = 1.02,
): AnalysisResult {
  return analyse(30, (t) => {
    const since = t - 20
    const share = Math.min(1, Math.max(0, (since * ratePctS) / size))
    return {
      lambda: since < 0 ? lambdaBefore : lambdaAfter(since),
      // Closed for a while first, so that rest is known.
      throttle: t < 10 ? 0 : 12 + size * share,
      map: t < 10 ? 33 : 48 + 25 * share,
      rpm: t < 10 ? 800 : 2000 + 80 * Math.max(0, since),
    }
  })
}

const tipIns = (result: AnalysisResult) => result.transients.filter(({ kind }) => kind === 'tip_in')
const last = (result: AnalysisResult) => tipIns(result).at(-1)!

describe('tip-ins', () => {
  it('are found with their start, rate and states', () => {
    const event = last(opening(() => 0.97))
    expect(Math.abs(event.start_s - 20)).toBeLessThan(0.06)
    expect(event.rate_pct_s).toBeGreaterThan(150)
    expect(event.rate_pct_s).toBeLessThan(250)
    expect(event.from_state).toBe('cruise')
    expect(event.to_state).toBe('part_throttle')
    expect(event.pattern).toBe('clean')
  })

  it('are lean at once when λ peaks in the first 0.3 s', () => {
    const event = last(opening((s) => (s < 0.4 ? 1.25 : 0.97)))
    expect(event.pattern).toBe('lean_at_once')
    expect(event.lean_peak).toBeGreaterThan(0.15)
    expect(event.lean_peak_after_s).toBeLessThan(0.5)
  })

  it('are lean at once of rich jets too: what leaps over where it goes and over what it was hides behind no target', () => {
    const leap = (by: number) => (s: number) => 0.9 + by * Math.sin(Math.PI * Math.min(1, s / 0.4)) ** 2
    expect(last(opening(leap(0.17), 200, 30, 0.9)).pattern).toBe('lean_at_once')
    expect(last(opening(leap(0.1), 200, 30, 0.9)).pattern).toBe('clean')
  })

  it('do not go lean at once from a mixture that was as lean before', () => {
    const before = (s: number) => 1.15 - 0.25 * Math.min(1, Math.max(0, s / 0.25))
    const result = analyse(30, (t) => {
      const share = Math.min(1, Math.max(0, (t - 20) / 0.15))
      return {
        lambda: before(t - 20),
        throttle: t < 10 ? 0 : 12 + 30 * share,
        map: t < 10 ? 33 : 48 + 50 * share,
        rpm: t < 10 ? 800 : 2000,
      }
    })
    expect(tipIns(result).at(-1)?.pattern).toBe('clean')
  })

  it('do not go lean while the air of an overrun passes, and do when nothing follows it', () => {
    const outOfOverrun = (lambdaAfter: (s: number) => number) =>
      analyse(30, (t) => {
        const since = t - 20
        const share = Math.min(1, Math.max(0, since / 0.15))
        return {
          lambda: t < 10 ? 0.95 : t < 17 ? 1.02 : since < 0 ? 4 : lambdaAfter(since),
          throttle: t < 10 ? 0 : t < 17 ? 12 : 30 * share,
          map: t < 10 ? 33 : t < 17 ? 48 : since < 0 ? 24 : 24 + 45 * share,
          rpm: t < 10 ? 800 : 2200,
        }
      })
    const passing = last(outOfOverrun((s) => 0.97 + 1.5 * Math.exp(-s / 0.05)))
    expect(passing.from_state).toBe('overrun')
    expect(passing.pattern).toBe('clean')
    expect(passing.lean_peak).toBeLessThan(0.1)
    expect(last(outOfOverrun((s) => (s < 0.8 ? 1.35 : 0.97))).pattern).toBe('lean_at_once')
  })

  it('show a short spike in its height, though the sensor lags', () => {
    const lagS = 0.07
    // What a sensor of first order makes of a spike of 0.16 λ that lasts for 0.25 s, from 0.05 s on.
    const spike = (s: number) => {
      const up = 1 - Math.exp(-Math.max(0, Math.min(s, 0.3) - 0.05) / lagS)
      return 0.16 * up * Math.exp(-Math.max(0, s - 0.3) / lagS)
    }
    const event = last(opening((s) => 1 + spike(s + lagS)))
    expect(event.lean_peak).toBeGreaterThan(0.16)
    expect(event.lean_peak).toBeLessThan(0.23)
    expect(event.pattern).toBe('lean_at_once')
  })

  it('are lean later when λ peaks between 0.3 and 1.5 s', () => {
    expect(last(opening((s) => (s > 0.6 && s < 1.2 ? 1.2 : 0.97))).pattern).toBe('lean_later')
  })

  it('are rich when λ stays low for over half a second', () => {
    const shot = (s: number) => 0.97 - 0.21 * Math.min(1, Math.max(0, (1.3 - s) / 0.2))
    expect(last(opening(shot)).pattern).toBe('rich')
  })

  it('are lean then rich when one follows the other', () => {
    expect(last(opening((s) => (s < 0.35 ? 1.2 : s < 1.4 ? 0.74 : 0.97))).pattern).toBe('lean_then_rich')
  })

  it('last while a slowly dying shot is still on its way, though the next move cuts the window short', () => {
    const result = analyse(30, (t) => {
      const since = t - 20
      const isOpen = since > 0 && since < 1.4
      const share = isOpen ? Math.min(1, since * 8) : 0
      return {
        lambda: isOpen ? 0.97 - 0.15 * Math.exp(-since / 0.8) : 1.02,
        throttle: t < 10 ? 0 : 12 + 30 * share,
        map: t < 10 ? 33 : 48 + 25 * share,
        rpm: t < 10 ? 800 : 2000,
      }
    })
    const tipIn = tipIns(result).at(-1)!
    // Within 0.03 of 0.97 from 1.29 s on; of where the window happens to end, from 0.6 s on.
    expect(Number(tipIn.end_s) - tipIn.start_s).toBeGreaterThan(0.9)
  })

  it('last while λ is off the scale', () => {
    const tipIn = last(opening((s) => (s < 0.9 ? 0.45 : 0.97)))
    expect(Number(tipIn.end_s) - tipIn.start_s).toBeGreaterThan(0.85)
  })

  it('are none when the throttle opens slowly or little', () => {
    expect(tipIns(opening(() => 0.97, 25, 30)).filter(({ start_s }) => start_s > 15)).toEqual([])
    expect(tipIns(opening(() => 0.97, 200, 5)).filter(({ start_s }) => start_s > 15)).toEqual([])
  })

  it('are none when pressure falls and rises because the engine starts and stops', () => {
    const drive = (without: string) =>
      analyse(
        40,
        (t) => {
          if (t < 2) return { lambda: 1, rpm: 0, throttle: 0, map: 100 }
          if (t < 3.5) return { lambda: 1, rpm: 220, throttle: 0, map: 93 }
          if (t < 30) return { lambda: 0.95, rpm: 800, throttle: 0, map: Math.max(34, 93 - 150 * (t - 3.5)) }
          return {
            lambda: 0.95,
            rpm: Math.max(0, 800 - 1400 * (t - 30)),
            throttle: 0,
            map: Math.min(100, 34 + 120 * (t - 30)),
          }
        },
        without,
      ).transients
    expect(drive('throttle')).toEqual([])
  })

  it('leave the time after a stall to the engine that stands', () => {
    const { states } = analyse(40, (t) => ({
      lambda: t < 20 ? 1.02 : 1.02 + 0.3 * Math.min(2.8, t - 20),
      rpm: t < 20 ? 1500 : Math.max(0, 1500 - 3000 * (t - 20)),
      throttle: t > 5 && t < 20.2 ? 20 : 0,
    }))
    expect(states.at(-1)).toMatchObject({ state: 'off' })
    expect(states.at(-1)!.start_s).toBeLessThan(20.8)
  })

  it('are two when the foot creeps between two quick steps, and one when it does not', () => {
    const foot = (creepS: number) => (t: number) => {
      const since = t - 20
      const first = 18 * Math.min(1, Math.max(0, since / 0.1))
      const creep = 12 * Math.min(creepS, Math.max(0, since - 0.1))
      const second = 25 * Math.min(1, Math.max(0, (since - 0.1 - creepS) / 0.12))
      return {
        lambda: 1,
        throttle: t < 10 ? 0 : 12 + first + creep + second,
        map: t < 10 ? 33 : 48 + 0.6 * (first + creep + second),
        rpm: t < 10 ? 800 : 2000,
      }
    }
    const starts = (creepS: number) =>
      tipIns(analyse(30, foot(creepS)))
        .map(({ start_s }) => start_s)
        .filter((t) => t > 15)
    const [one, two, ...others] = starts(0.8)
    expect(one).toBeCloseTo(20, 1)
    expect(two).toBeCloseTo(20.9, 1)
    expect(others).toEqual([])
    expect(starts(0.03)).toHaveLength(1)
  })

  it('are one when a creep is quick only for a moment', () => {
    // Steepness in %/s and so many s of it: a quick step, a creep, a moment over the limit of 40, and on below it.
    const steps = [
      [180, 0.1],
      [20, 0.4],
      [60, 0.04],
      [38, 0.6],
    ]
    const result = analyse(30, (t) => {
      let left = Math.max(0, t - 20)
      let opened = 0
      for (const [steepness, seconds] of steps) {
        opened += steepness * Math.min(left, seconds)
        left = Math.max(0, left - seconds)
      }
      return {
        lambda: 1,
        throttle: t < 10 ? 0 : 12 + opened,
        map: t < 10 ? 33 : 48 + 0.5 * opened,
        rpm: t < 10 ? 800 : 2000,
      }
    })
    expect(tipIns(result).filter(({ start_s }) => start_s > 15)).toHaveLength(1)
  })

  it.each([10, 20, 25, 100, 500])('are found in a quick blip at %i samples a second', (hz) => {
    const blips = [20.013, 22.47, 25.081]
    const result = analyse(
      30,
      (t) => {
        const height = Math.max(0, ...blips.map((s) => Math.min(1, (t - s) / 0.11, (s + 0.32 - t) / 0.17)))
        return {
          lambda: 1,
          throttle: t < 10 ? 2 : 2 + 18 * height,
          map: 33 + 25 * height,
          rpm: 850,
        }
      },
      '',
      hz,
    )
    const found = tipIns(result).map(({ start_s }) => start_s)
    expect(found).toHaveLength(blips.length)
    for (const [i, start] of found.entries()) expect(Math.abs(start - blips[i])).toBeLessThan(0.12)
  })

  it('tell a stumble from an engine that pulls away', () => {
    expect(last(opening(() => 0.97)).stumble).toBe(false)
    const sagging = analyse(30, (t) => ({
      lambda: 1,
      throttle: t < 10 ? 0 : t < 20 ? 12 : 42,
      map: t < 10 ? 33 : t < 20 ? 48 : 73,
      rpm: t < 10 ? 800 : t < 20 ? 2000 : t < 20.8 ? 2000 - 60 * (t - 20) : 1952 + 150 * (t - 20.8),
      speed: t < 10 ? 0 : 16,
    }))
    expect(last(sagging).stumble).toBe(true)
  })
})

describe('tip-outs', () => {
  it('are not over while λ stands off the rich end of the scale, though the next opening comes', () => {
    const { transients } = analyse(40, (t) => {
      const since = t - 20
      const isShut = since > 0 && since < 1.2
      return {
        lambda: isShut ? 0.55 : 0.97,
        throttle: isShut ? Math.max(0, 30 - 200 * since) : since < 0 ? 30 : Math.min(30, 200 * (since - 1.2)),
        map: isShut ? 30 : 70,
      }
    })
    const closing = transients.find(({ kind, start_s }) => kind === 'tip_out' && Math.abs(start_s - 20) < 0.1)
    expect(closing?.end_s).toBeGreaterThan(20.9)
    expect(closing?.end_s).toBeLessThan(21.3)
  })
})

describe('warm-up', () => {
  const start = (t: number): Moment => ({
    lambda: t < 150 ? 0.84 : 0.95,
    rpm: t < 2 ? 0 : t < 3.5 ? 210 : t < 40 ? 1300 : 800,
    throttle: t < 40 ? 5 : 0,
    map: t < 2 ? 99 : 36,
    coolant: Math.min(88, 15 + 0.3 * t),
    speed: 0,
  })

  it('tells cranking, the first idle by itself and λ by coolant', () => {
    const { warm_up } = analyse(200, start)
    expect(warm_up?.crank_s).toBeCloseTo(1.5, 1)
    expect(warm_up?.stalls).toBe(0)
    expect(warm_up?.self_idle_s).toBeGreaterThan(35)
    expect(warm_up?.self_idle_s).toBeLessThan(40)
    expect(warm_up?.start).toBe('cold')
    const [coolant, lambda, target] = warm_up!.lambda_by_coolant[2]
    expect(coolant).toBeGreaterThan(20)
    expect(lambda).toBeCloseTo(0.84, 2)
    expect(target).toBeLessThan(0.9)
  })

  it('adds up the cranking of all attempts before the first fire', () => {
    const { warm_up } = analyse(120, (t) => ({
      ...start(t),
      rpm: t >= 3.5 && t < 6 ? 0 : t >= 6 && t < 7 ? 210 : start(t).rpm,
    }))
    expect(warm_up?.crank_s).toBeCloseTo(2.5, 1)
    expect(warm_up?.stalls).toBe(0)
  })

  it('counts a stall that a new start follows', () => {
    const { warm_up } = analyse(120, (t) => ({
      ...start(t),
      rpm: t > 20 && t < 24 ? 0 : t >= 24 && t < 25 ? 200 : start(t).rpm,
    }))
    expect(warm_up?.stalls).toBe(1)
    expect(warm_up?.restarts).toBe(1)
  })

  it('is null in a run that begins with the engine running', () => {
    expect(analyse(20, () => ({ lambda: 1 })).warm_up).toBeNull()
  })
})

describe('steady mixture', () => {
  it('gives the λ of each state, laid at its cause, with an interval that holds it', () => {
    const result = analyse(90, (t) => {
      const isIdle = t % 30 < 15
      return isIdle
        ? { lambda: 0.94 + 0.004 * Math.sin(t * 7), rpm: 800, throttle: 0, map: 33, speed: 0 }
        : { lambda: 1.03 + 0.004 * Math.sin(t * 5), rpm: 2200, throttle: 14, map: 50 }
    })
    const { idle, cruise } = result.mixture
    expect(idle?.lambda_median).toBeCloseTo(0.94, 2)
    expect(cruise?.lambda_median).toBeCloseTo(1.03, 2)
    expect(cruise?.ci95?.[0]).toBeLessThan(1.03)
    expect(cruise?.ci95?.[1]).toBeGreaterThan(1.03)
    expect(cruise?.visits).toBe(3)
    expect(cruise?.error).toBeCloseTo(0.01, 2)
  })

  it('tells how much of the full load was driven before the engine was warm', () => {
    const pulls = (coolant: (t: number) => number) =>
      analyse(80, (t) => {
        const isPull = t % 20 > 12
        return {
          lambda: isPull ? 0.87 : 1.02,
          rpm: 2000 + (isPull ? 100 * ((t % 20) - 12) : 0),
          throttle: isPull ? 80 : 14,
          map: isPull ? 96 : 50,
          coolant: coolant(t),
        }
      }).mixture.power
    const half = pulls((t) => (t < 40 ? 45 : 80))
    expect(half?.cold_s).toBeGreaterThan(0.4 * half!.seconds)
    expect(half?.cold_s).toBeLessThan(0.6 * half!.seconds)
    expect(pulls(() => 80)).not.toHaveProperty('cold_s')
  })

  it('counts the pulls of a warm engine alone for the test drive', () => {
    const covered = (coolant: number) =>
      analyse(100, (t) => {
        const since = (t % 20) - 12
        const isPull = since > 0 && since < 5
        return {
          lambda: isPull ? 0.87 : 1.02,
          rpm: isPull ? 2000 + 300 * since : 2000,
          throttle: isPull ? 90 : 14,
          map: isPull ? 97 : 50,
          coolant,
        }
      })
    const have = (coolant: number) => covered(coolant).coverage.find(({ item }) => item === 'pull')?.have
    expect(have(80)).toBe(5)
    expect(have(45)).toBe(0)
    expect(covered(45).pulls).toHaveLength(5)
  })

  it('is less sure of states whose limits no manifold pressure tells', () => {
    const drive = (t: number) => {
      const step = Math.floor(t / 20) % 3
      return {
        lambda: [1.03, 0.97, 0.87][step] + 0.004 * Math.sin(t * 7),
        throttle: t < 10 ? 0 : [14, 33, 80][step],
        map: t < 10 ? 33 : [50, 72, 97][step],
        rpm: t < 10 ? 800 : 2300,
      }
    }
    const width = ({ mixture }: AnalysisResult) =>
      Number(mixture.part_throttle?.ci95?.[1]) - Number(mixture.part_throttle?.ci95?.[0])
    const blind = width(analyse(120, drive, 'manifold_pressure'))
    expect(blind).toBeGreaterThan(0.06)
    expect(width(analyse(120, drive))).toBeLessThan(blind / 2)
  })

  it('counts the seconds of every moment once at the most', () => {
    const { mixture } = analyse(60, () => ({ lambda: 1 }))
    expect(mixture.cruise?.seconds).toBeLessThanOrEqual(60)
  })
})
