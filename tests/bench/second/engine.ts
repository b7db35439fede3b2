/*
 * A second engine, on purpose of another structure than the simulator: it runs backward. A speed profile is invented first, road load gives the
 * torque, torque the manifold pressure, pressure the throttle; the mixture is a sum of shares per circuit and no flow is ever integrated.
 * What the analysis gets right here and on the simulator it has not learned by heart.
 */
import { encodeLine } from '../../../core/line/encodeLine.ts'
import { channelsOf, type SensedMoment } from './board.ts'
import { createRandom, type Random } from './random.ts'
import { currentAt } from './sensorRows.ts'
import type { SecondTipIn } from './truePatterns.ts'
import { labelStates, stillSince } from './trueStates.ts'

export interface SecondCar {
  massKg: number
  displacementL: number
  idleRpm: number
  rpmPerMs: number[]
  maxTorqueNm: number
  throttleShape: number
  mainShareCruise: number
  mainSharePower: number
  powerOpensLoad: number
  secondaryFromFlow: number
  secondaryShare: number
  idleExponent: number
  airExponent: number
  mapTilt: number
  delayA: number
  delayB: number
  lagUpS: number
  lagDownS: number
  filmLean: number
  pumpMl: number
  wander: number
  sensorGain: number
  recordedGainError: number
  noiseMa: number
  sampleHz: number
  /** What the board sends; `lambda_board` works λ out itself. */
  channels: ChannelSet
  throttleZero: number
  throttleSpan: number
  barometerChannel: boolean
  /** Hysteresis of the true states: half the gap in load. The definition leaves its width open. */
  loadGap: number
  /** Jitter of the sample times as a share of their distance; gaps of seconds, per hour. */
  jitterShare: number
  gapsPerHour: number
}

export const channelSets = ['usual', 'no_throttle', 'no_pressure', 'no_coolant', 'lambda_board'] as const
export type ChannelSet = (typeof channelSets)[number]

export interface Setup {
  mainMm: number
  powerMm: number
  secondaryMm: number
  turns: number
}

export interface Weather {
  temperatureC: number
  pressureKpa: number
  humidityPct: number
}

export interface SecondTruth {
  timeS: Float64Array
  lambda: Float64Array
  /** Without the slow wander and the scatter of cycles. */
  lambdaBase: Float64Array
  /** By the definitions, tip-ins and tip-outs laid over, visits under half a second joined to what came before. */
  state: string[]
  /** Throttle still for a second (within 3 %), outside tip-ins and tip-outs. */
  steady: Uint8Array
  delayS: Float64Array
  /** Manifold ÷ barometric pressure. */
  load: Float64Array
  tipIns: SecondTipIn[]
}

/** Bores at which this engine is right, and the λ it then has: idle 0.95, cruise 1.02, part throttle 0.97, power 0.87. */
export const rightSetup: Setup = { mainMm: 1.85, powerMm: 1.4, secondaryMm: 1.95, turns: 1.5 }

const drawnChannels: readonly ChannelSet[] = [
  ...new Array<ChannelSet>(6).fill('usual'),
  ...channelSets.filter((set) => set !== 'usual'),
]

export function randomCar(seed: number): SecondCar {
  const r = createRandom(seed * 7 + 3)
  const idleRpm = r.between(620, 950)
  const top = r.between(62, 90)
  const displacementL = r.between(1.2, 6.5)
  return {
    massKg: (620 + 170 * displacementL) * r.between(0.9, 1.25),
    displacementL,
    idleRpm,
    rpmPerMs: [top * 3.2, top * 1.9, top * 1.35, top].map((x) => x * 1.1),
    maxTorqueNm: r.between(1.25, 1.7),
    throttleShape: r.between(1.5, 2.6),
    mainShareCruise: r.between(0.62, 0.95),
    mainSharePower: r.between(0.5, 0.8),
    powerOpensLoad: r.between(0.72, 0.82),
    secondaryFromFlow: r.between(2600, 3400),
    secondaryShare: r.between(0.15, 0.35),
    idleExponent: r.between(0.25, 0.6),
    airExponent: r.between(0.45, 0.55),
    mapTilt: r.between(-0.02, 0.02),
    delayA: r.between(0.03, 0.09),
    delayB: r.between(4500, 14000),
    lagUpS: r.between(0.04, 0.12),
    lagDownS: r.between(0.04, 0.12),
    filmLean: r.between(0.0, 0.35),
    pumpMl: r.between(0.4, 1.6),
    wander: r.between(0.004, 0.012),
    sensorGain: r.between(0.96, 1.04),
    recordedGainError: 0.003 * r.normal(),
    noiseMa: r.between(0.002, 0.012),
    sampleHz: r.pick([20, 25, 50, 100, 200, 500]),
    channels: r.pick(drawnChannels),
    throttleZero: r.between(-2, 4),
    throttleSpan: r.between(0.92, 1.04),
    barometerChannel: r.chance(0.5),
    loadGap: r.between(0, 0.02),
    jitterShare: r.between(0, 0.4),
    gapsPerHour: r.chance(0.3) ? r.between(5, 20) : 0,
  }
}

export const smooth = (x: number, at: number, width: number): number => 1 / (1 + Math.exp(-(x - at) / width))

/** Noise-free steady λ of the car with these parts at an operating point. */
export function steadyLambda(
  car: SecondCar,
  setup: Setup,
  rpm: number,
  load: number,
  densityRatio: number,
): number {
  const main = (setup.mainMm / rightSetup.mainMm) ** 2
  const power = (setup.powerMm / rightSetup.powerMm) ** 2
  const secondary = (setup.secondaryMm / rightSetup.secondaryMm) ** 2
  const idle = (setup.turns / rightSetup.turns) ** car.idleExponent
  const flow = rpm * load
  const onMain = smooth(flow, car.idleRpm * 0.5, car.idleRpm * 0.06)
  const onPower = smooth(load, car.powerOpensLoad, 0.015)
  const onSecondary = smooth(flow, car.secondaryFromFlow, 120)
  const part = smooth(load, 0.6, 0.02)
  const cruisePhi =
    (1 / 1.02 + part * (1 / 0.97 - 1 / 1.02)) *
    (car.mainShareCruise * main + (1 - car.mainShareCruise) * idle)
  const primaryPowerPhi = (1 / 0.87) * (car.mainSharePower * main + (1 - car.mainSharePower) * power)
  const powerPhi =
    primaryPowerPhi * (1 - onSecondary * car.secondaryShare) +
    (1 / 0.87) * onSecondary * car.secondaryShare * secondary
  const idlePhi = (1 / 0.95) * idle
  const running = (1 - onPower) * cruisePhi + onPower * powerPhi
  const phi = (1 - onMain) * idlePhi + onMain * running
  return (1 / phi) * densityRatio ** car.airExponent * (1 + car.mapTilt * (rpm / 2500 - 1) * onMain)
}

/** Density of humid air, two ideal gases; only the ratio of two such figures is used. */
export function density(w: Weather): number {
  const saturation = 0.6112 * Math.exp((17.62 * w.temperatureC) / (243.12 + w.temperatureC))
  const vapour = (w.humidityPct / 100) * saturation
  const kelvin = w.temperatureC + 273.15
  return ((w.pressureKpa - vapour) * 1000) / (287.05 * kelvin) + (vapour * 1000) / (461.5 * kelvin)
}

export const referenceWeather: Weather = { temperatureC: 20, pressureKpa: 100, humidityPct: 0 }

interface Moment {
  v: number
  a: number
  gear: number
  wot: boolean
}

/** A speed profile like traffic: stops, brisk and gentle openings, short steady parts, now and then a full-throttle pull. */
function traffic(r: Random, seconds: number, dt: number): Moment[] {
  const out: Moment[] = []
  let v = 0
  let gear = 0
  const add = (a: number, wot = false) => {
    v = Math.max(0, v + a * dt)
    const wanted = v < 6 ? 0 : v < 11 ? 1 : v < 16 ? 2 : 3
    if (!wot) gear = v < 0.5 ? 0 : wanted
    out.push({ v, a, gear, wot })
  }
  const end = seconds / dt
  while (out.length < end) {
    for (let n = r.between(8, 35) / dt; n > 0; n--) {
      v = 0
      add(0)
    }
    const hops = Math.floor(r.between(1, 6))
    for (let h = 0; h < hops && out.length < end; h++) {
      const goal = r.between(7, 27)
      const accel = r.chance(0.5) ? r.between(1.6, 2.9) : r.between(0.4, 1.3)
      if (goal > v) {
        let guard = 40 / dt
        while (v < goal && guard-- > 0) add(accel)
        if (r.chance(0.25)) {
          const n = r.between(2, 5) / dt
          for (let k = 0; k < n && v < 36; k++) add(0.5 + 1.2 * (1 - v / 45), true)
        }
      } else {
        const brake = r.between(0.6, 2)
        while (v > goal) add(-brake)
      }
      let wobble = 0
      let stab = 0
      for (let n = r.between(5, 28) / dt; n > 0; n--) {
        wobble += (-wobble / 4) * dt + 0.05 * Math.sqrt(dt) * r.normal()
        if (stab <= 0 && r.chance(dt / 12)) stab = r.between(0.8, 2.5)
        stab -= dt
        add(stab > 0 && v < 30 ? 1.9 : wobble)
      }
    }
    const brake = r.between(0.8, 2.2)
    while (v > 0.3) add(-brake)
  }
  return out.slice(0, end)
}

export interface SecondRun {
  bytes: Uint8Array
  truth: SecondTruth
}

/** Step of the model, s. Boards sample between its steps. */
const inner = 0.005
/** Wall film and pump answer to openings quicker than this, %/s, seen over so many steps: the foot's own trembling moves no fuel. */
const openingFromPctS = 15
const openingSteps = 12

/** One warm traffic drive of this car with these parts in this weather, as a capture file with its truth. */
export function drive(
  car: SecondCar,
  setup: Setup,
  weather: Weather,
  seed: number,
  seconds: number,
  startAt: string,
  fitted: object,
): SecondRun {
  const r = createRandom(seed * 31 + 11)
  const n = Math.round(seconds / inner)
  const moments = traffic(r, seconds, inner)
  const ratio = density(weather) / density(referenceWeather)
  const truth: SecondTruth = {
    timeS: new Float64Array(n),
    lambda: new Float64Array(n),
    lambdaBase: new Float64Array(n),
    state: new Array(n),
    steady: new Uint8Array(n),
    delayS: new Float64Array(n),
    load: new Float64Array(n),
    tipIns: [],
  }
  const mapTrue = new Float64Array(n)
  const rpmTrue = new Float64Array(n)
  const throttleTrue = new Float64Array(n)
  const idleLoad = r.between(0.28, 0.4)
  let pressure = idleLoad
  let rpm = car.idleRpm
  let throttle = 0
  let grade = 0
  for (let i = 0; i < n; i++) {
    const m = moments[i]
    const clutch = m.v > 2.5
    const wantedRpm = clutch
      ? Math.max(car.idleRpm, m.v * car.rpmPerMs[m.gear])
      : car.idleRpm * (1 + 0.3 * Math.min(1, Math.max(0, m.a)))
    rpm += ((wantedRpm - rpm) / 0.25) * inner
    grade += (-grade / 25) * inner + 0.03 * Math.sqrt((2 / 25) * inner) * r.normal()
    const force =
      car.massKg * (m.a + 9.81 * grade * Math.min(1, m.v / 5)) + 0.012 * car.massKg * 9.81 + 0.42 * m.v * m.v
    const torqueShare =
      m.v < 0.3 && m.a <= 0
        ? 0
        : (force * m.v) / Math.max(1, (rpm * 2 * Math.PI) / 60) / (car.displacementL * 62 * car.maxTorqueNm)
    let target = idleLoad * 0.75 + Math.max(0, torqueShare) * 0.72
    const closed = torqueShare < -0.03 || (m.v < 0.3 && m.a <= 0)
    if (closed) target = m.v < 0.3 ? idleLoad : 0.22
    if (m.wot) target = 0.965
    target = Math.min(0.965, target)
    const flowNeed = (target * rpm) / 5200
    const wantedThrottle = closed
      ? 0
      : m.wot
        ? 92
        : Math.min(
            88,
            2.2 +
              100 *
                flowNeed ** (1 / car.throttleShape) *
                Math.min(1, flowNeed * 4) *
                (0.7 + 0.5 * target ** 6),
          )
    // The foot: quick when the wish jumps, else a slow follower.
    const gap = wantedThrottle - throttle
    const speed = Math.abs(gap) > 7 ? 130 : 22
    throttle += Math.sign(gap) * Math.min(Math.abs(gap), speed * inner)
    pressure += ((target - pressure) / 0.06) * inner
    mapTrue[i] = pressure * weather.pressureKpa
    rpmTrue[i] = rpm
    throttleTrue[i] = throttle
  }
  // Mixture: base, wander, scatter of cycles, film and pump shot after each opening.
  const lambdaStill = new Float64Array(n)
  let wander = 0
  let film = 0
  let shot = 0
  const unsettled = new Float64Array(n)
  const lagMean = (car.lagUpS + car.lagDownS) / 2
  for (let i = 0; i < n; i++) {
    const load = mapTrue[i] / weather.pressureKpa
    truth.load[i] = load
    const base = steadyLambda(car, setup, rpmTrue[i], load, ratio)
    wander += (-wander / 30) * inner + car.wander * Math.sqrt((2 / 30) * inner) * r.normal()
    const since = Math.max(0, i - openingSteps)
    const opening = i > since ? (throttleTrue[i] - throttleTrue[since]) / ((i - since) * inner) : 0
    const quick = Math.max(0, opening - openingFromPctS)
    film += (-film / 0.45) * inner + (car.filmLean * quick * inner) / 14
    shot += (-shot / 0.8) * inner + (car.pumpMl * 0.16 * quick * inner) / 14
    unsettled[i] = Math.abs(base * (Math.min(0.5, film) - Math.min(0.25, shot)))
    const overrun = throttleTrue[i] < 1.5 && rpmTrue[i] > 1.4 * car.idleRpm
    truth.timeS[i] = i * inner
    truth.lambdaBase[i] = overrun ? Number.NaN : base
    lambdaStill[i] = overrun ? 2.5 : base * (1 + Math.min(0.5, film) - Math.min(0.25, shot))
    truth.lambda[i] = overrun ? 2.5 : lambdaStill[i] * (1 + wander)
    truth.delayS[i] = car.delayA + car.delayB / (rpmTrue[i] * mapTrue[i]) + lagMean
  }
  labelStates(
    truth,
    car,
    { throttle: throttleTrue, rpm: rpmTrue, map: mapTrue, unsettled, lambdaStill },
    weather,
  )
  for (let i = 0; i < n; i++) {
    truth.steady[i] = !truth.state[i].startsWith('tip_') && stillSince(throttleTrue, i, inner) ? 1 : 0
  }
  // The sensor: the gas arrives after the transport delay, then a lag that differs by direction.
  const sensed = new Float64Array(n)
  const arrive = new Float64Array(n).fill(Number.NaN)
  let last = 0
  for (let i = 0; i < n; i++) {
    const at = Math.round((truth.timeS[i] + truth.delayS[i] - lagMean) / inner)
    if (at < n && at >= last) {
      for (let k = last; k <= at; k++) arrive[k] = truth.lambda[i] * (1 + 0.008 * r.normal())
      last = at
    }
  }
  let current = currentAt(1)
  for (let i = 0; i < n; i++) {
    const goal = currentAt(Number.isNaN(arrive[i]) ? truth.lambda[i] : arrive[i])
    current += ((goal - current) / (goal > current ? car.lagUpS : car.lagDownS)) * inner
    sensed[i] = current
  }
  return { bytes: writeCapture(), truth }

  function writeCapture(): Uint8Array {
    const lines: string[] = ['floatbowl-capture 1']
    const record = (value: object) => lines.push(`0.000000 = ${JSON.stringify(value)}`)
    record({ type: 'start', at: startAt, app: 'bench', zone: 'UTC', car: 'second' })
    record({ type: 'fitted', fitted })
    record({
      type: 'air',
      temperature_C: weather.temperatureC,
      pressure_kPa: weather.pressureKpa,
      humidity_pct: weather.humidityPct,
    })
    record({ type: 'free_air', bank: 1, current_mA: 2.54 * car.sensorGain * (1 + car.recordedGainError) })
    const channels = channelsOf(car, weather, r)
    const put = (t: number, line: string) => lines.push(`${t.toFixed(6)} <0 ${line}`)
    put(
      0,
      encodeLine({
        kind: 'identity',
        version: 1,
        boardName: 'second',
        firmware: '1',
        uniqueId: 'b2',
        ticksPerSecond: 1_000_000,
      }).trimEnd(),
    )
    channels.forEach(({ name, unit, scale }, index) => {
      put(0, encodeLine({ kind: 'channel', index, name, unit, scale, offset: 0 }).trimEnd())
    })
    const moment: SensedMoment = { timeS: 0, currentMa: 0, rpm: 0, throttlePct: 0, mapKpa: 0 }
    let seq = 0
    let lostUntilS = 0
    const samples = Math.floor((seconds - 2 * inner) * car.sampleHz)
    for (let k = 0; k < samples; k++) {
      const t = Math.max(0, (k + car.jitterShare * r.between(-0.5, 0.5)) / car.sampleHz)
      const place = t / inner
      const i = Math.floor(place)
      const within = place - i
      const at = (column: Float64Array) => column[i] + within * (column[i + 1] - column[i])
      moment.timeS = t
      moment.currentMa = at(sensed)
      moment.rpm = at(rpmTrue)
      moment.throttlePct = at(throttleTrue)
      moment.mapKpa = at(mapTrue)
      const values = channels.map(({ scale, read }) => Math.round(read(moment) / scale))
      seq = (seq + 1) & 0xffff
      if (r.chance(car.gapsPerHour / 3600 / car.sampleHz)) lostUntilS = t + r.between(0.5, 4)
      if (t < lostUntilS || r.chance(0.001)) continue
      put(t + 0.001, encodeLine({ kind: 'sample', seq, tick: Math.round(t * 1e6) >>> 0, values }).trimEnd())
    }
    lines.push(`${seconds.toFixed(6)} = ${JSON.stringify({ type: 'stop', reason: 'end' })}`)
    return new TextEncoder().encode(`${lines.join('\n')}\n`)
  }
}
