import type { Air, CarProfile, Fitted } from '../../core/contract/car.ts'
import type { AnalysisResult, MixtureState, RunAnalysis, SteadyPiece } from '../../core/contract/result.ts'

/** Seeded random numbers for made-up evidence: mulberry32 and Box-Muller. */
export function createNoise(seed: number) {
  let state = (seed * 2654435761 + 12345) >>> 0
  const uniform = () => {
    state = (state + 0x6d2b79f5) >>> 0
    let t = state
    t = Math.imul(t ^ (t >>> 15), t | 1)
    t ^= t + Math.imul(t ^ (t >>> 7), t | 61)
    return ((t ^ (t >>> 14)) >>> 0) / 4294967296
  }
  return {
    uniform,
    between: (low: number, high: number) => low + (high - low) * uniform(),
    normal: () => Math.sqrt(-2 * Math.log(1 - uniform())) * Math.cos(2 * Math.PI * uniform()),
  }
}

export interface SyntheticOptions {
  seed: number
  seconds?: number
  /** Steady λ at an operating point, as on the day. */
  lambdaAt: (rpm: number, load: number, state: MixtureState) => number
  /** Standard deviation and time constant of the slow wander. */
  wander?: number
  wanderS?: number
  /** Standard deviation of one piece. */
  noise?: number
  fitted?: Fitted
  air?: Air
  car?: CarProfile
  startMs?: number
  idleRpm?: number
  /** Typical speed of this day's traffic, for different driving. */
  meanRpm?: number
  bank?: 1 | 2
}

/** An analysis as the pipeline would give it, its steady pieces made up from a traffic-like walk over the map. */
export function syntheticRun(options: SyntheticOptions): RunAnalysis {
  const { seed, seconds = 600, lambdaAt, wander = 0.007, wanderS = 30, noise = 0.006 } = options
  const { idleRpm = 800, meanRpm = 2200, bank = 1, startMs = Number.NaN } = options
  const random = createNoise(seed)
  const pieces: SteadyPiece[] = []
  let drift = wander * random.normal()
  let visit = 0
  let timeS = 0
  while (timeS < seconds) {
    const dice = random.uniform()
    const isIdle = dice < 0.25
    const load = isIdle
      ? random.between(0.3, 0.38)
      : dice < 0.65
        ? random.between(0.3, 0.59)
        : dice < 0.88
          ? random.between(0.61, 0.84)
          : random.between(0.87, 0.97)
    const state: MixtureState = isIdle
      ? 'idle'
      : load < 0.6
        ? 'cruise'
        : load < 0.85
          ? 'part_throttle'
          : 'power'
    const rpm = isIdle ? idleRpm : Math.max(1100, meanRpm + 600 * random.normal())
    const stay = state === 'power' ? random.between(1, 4) : random.between(3, 22)
    for (let end = timeS + stay; timeS < end && timeS < seconds; timeS += 1) {
      const pull = Math.exp(-1 / wanderS)
      drift = drift * pull + wander * Math.sqrt(1 - pull * pull) * random.normal()
      const lambda = lambdaAt(rpm, load, state) * Math.exp(drift + noise * random.normal())
      pieces.push({
        bank,
        state,
        visit,
        timeS,
        seconds: 1,
        lambda,
        rpm: rpm + 30 * random.normal(),
        load: load + 0.01 * random.normal(),
        manifoldKpa: load * 100,
        throttlePct: isIdle ? 0 : load * 60,
        coolantC: 86,
      })
    }
    const gapS = random.between(2, 8)
    drift =
      drift * Math.exp(-gapS / wanderS) +
      wander * Math.sqrt(1 - Math.exp((-2 * gapS) / wanderS)) * random.normal()
    timeS += gapS
    visit++
  }
  return { result: syntheticResult(options), pieces, startMs, ...(options.car ? { car: options.car } : {}) }
}

/** An otherwise empty result with the run's parts and air. */
export function syntheticResult(options: Pick<SyntheticOptions, 'fitted' | 'air'>): AnalysisResult {
  return {
    format: 'floatbowl-result 1',
    run: {
      seconds: 600,
      ...(options.fitted ? { fitted: options.fitted } : {}),
      ...(options.air ? { air: options.air } : {}),
    },
    channels_used: ['lambda', 'engine_speed', 'manifold_pressure'],
    missing: [],
    integrity: { lines: 0, samples: 0, bad_checksum: 0, missing_samples: 0, gaps: [], torn_end: false },
    trust: { untrusted_s: { warming: 0, fault: 0, overrun: 0, delay_edge: 0, gap: 0 }, hints: [] },
    delay: { a_s: 0.08, b_s_rpm_kPa: 9000, events_used: 0 },
    states: [],
    mixture: {},
    map: {
      rpm_edges: [],
      load_edges: [],
      load_channel: 'manifold_pressure',
      lambda: [],
      seconds: [],
      error: [],
    },
    warm_up: null,
    transients: [],
    alarms: [],
    pulls: [],
    coverage: [],
    scorecard: {
      on_target_share: null,
      stumbles_per_100_tip_ins: null,
      self_idle_s: null,
      economy: null,
      peak_kW: null,
      spent: null,
    },
  }
}
