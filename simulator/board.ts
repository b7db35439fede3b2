import { encodeLine } from '../core/line/encodeLine.ts'
import { BoardLine } from './boardLine.ts'
import type { BoardChannel } from './channels.ts'
import type { LineSink } from './outputs.ts'
import type { ParameterValues } from './parameters.ts'
import type { Random } from './random.ts'

const ticksPerSecond = 1_000_000
const identifyEveryS = 0.25
/** From the sampling to the line's arrival at the least, s: conversion and wire. */
const wireS = 0.0008

/** The reference board's talk: identity, declarations in turn, samples, notices; and what happens to the lines on their way. */
export class Board {
  readonly channels: readonly BoardChannel[]
  /** One value a channel, in the inside unit of the channel's quantity, filled before `sample`; NaN is no reading. */
  readonly values: Float64Array
  private readonly gains: Float64Array
  private readonly offsets: Float64Array
  private readonly line = new BoardLine()
  private readonly declarations: string[]
  private readonly sink: LineSink
  private readonly random: Random
  private readonly p: ParameterValues
  private seq: number
  private nextIdentityS = 0
  private turn = 0
  private lastArrivalS = Number.NEGATIVE_INFINITY
  private gapUntilS = Number.NEGATIVE_INFINITY
  private nextGapS: number
  private firstTick: number
  private tickZeroS = 0
  private restarted = false
  private readonly jitterMs: number
  private readonly damagedShare: number
  private readonly lostShare: number
  private readonly restartS: number

  constructor(channels: readonly BoardChannel[], sink: LineSink, p: ParameterValues, random: Random) {
    this.channels = channels
    this.values = new Float64Array(channels.length)
    this.gains = new Float64Array(channels.length)
    this.offsets = new Float64Array(channels.length)
    channels.forEach((item, i) => {
      const [factor, shift] = unitFromInside(item.unit)
      this.gains[i] = factor / item.scale
      this.offsets[i] = (shift - item.offset) / item.scale
    })
    this.sink = sink
    this.random = random
    this.p = p
    this.seq = p['line.first_seq']
    this.jitterMs = p['line.jitter_ms']
    this.damagedShare = p['line.damaged_share']
    this.lostShare = p['line.lost_share']
    this.restartS = p['line.restart_s']
    this.firstTick = p['line.first_tick']
    this.nextGapS = this.gapAfter(0)
    this.declarations = [
      encodeLine({
        kind: 'identity',
        version: 1,
        boardName: 'simulated board',
        firmware: '1.0',
        uniqueId: 'sim1',
        ticksPerSecond,
      }),
      ...channels.map(({ name, unit, scale, offset }, index) =>
        encodeLine({ kind: 'channel', index, name, unit, scale, offset }),
      ),
    ]
  }

  private gapAfter(timeS: number): number {
    const perHour = this.p['line.gaps_per_hour']
    if (!(perHour > 0)) return Number.POSITIVE_INFINITY
    return timeS + (-Math.log(1 - this.random.uniform()) * 3600) / perHour
  }

  private tick(timeS: number): number {
    return (this.firstTick + Math.round((timeS - this.tickZeroS) * ticksPerSecond)) % 4294967296
  }

  /** Identity and every declaration: at power-up and on request. */
  declareAll(timeS: number): void {
    for (const text of this.declarations) {
      this.line.set(text)
      this.send(timeS)
    }
    this.nextIdentityS = timeS + identifyEveryS
  }

  /** A fault or notice. */
  event(timeS: number, code: string, text: string): void {
    this.line.set(encodeLine({ kind: 'event', tick: this.tick(timeS), code, text }))
    this.send(timeS)
  }

  /** Answer to a command. */
  answer(timeS: number, command: string, ok: boolean, text: string): void {
    this.line.set(encodeLine({ kind: 'answer', command, ok, text }))
    this.send(timeS)
  }

  /** Sends the sample in `values`. */
  sample(timeS: number): void {
    const { line, values, gains, offsets } = this
    if (!this.restarted && timeS >= this.restartS) {
      this.restarted = true
      this.tickZeroS = timeS
      this.firstTick = 0
      this.seq = 0
      this.declareAll(timeS)
    }
    if (timeS >= this.nextIdentityS) {
      line.set(this.declarations[this.turn])
      this.turn = (this.turn + 1) % this.declarations.length
      this.send(timeS)
      this.nextIdentityS = timeS + identifyEveryS
    }
    line.beginSample()
    line.integer(this.seq)
    this.seq = (this.seq + 1) & 0xffff
    line.integer(this.tick(timeS))
    for (let i = 0; i < values.length; i++) line.integer(Math.round(values[i] * gains[i] + offsets[i]))
    line.end()
    this.send(timeS)
  }

  /** The wire: delay, loss, damage, gaps. */
  private send(timeS: number): void {
    const { p, random, line } = this
    if (timeS >= this.nextGapS) {
      this.gapUntilS = timeS + p['line.gap_s'] * random.between(0.5, 1.5)
      this.nextGapS = this.gapAfter(this.gapUntilS)
    }
    if (timeS < this.gapUntilS) return
    if (this.lostShare > 0 && random.uniform() < this.lostShare) return
    if (this.damagedShare > 0 && random.uniform() < this.damagedShare) {
      line.bytes[random.integer(0, line.length - 1)] ^= 1 << random.integer(0, 6)
    }
    let arrivalS = timeS + wireS + (this.jitterMs / 1000) * random.uniform()
    if (arrivalS < this.lastArrivalS) arrivalS = this.lastArrivalS
    this.lastArrivalS = arrivalS
    this.sink.line(arrivalS, 0, line.bytes, line.length)
  }
}

/** Factor and shift from the quantity's inside unit (here kPa, °C, km/h, and the unit itself) to a declared unit. */
function unitFromInside(unit: string): readonly [number, number] {
  switch (unit) {
    case 'F':
      return [1.8, 32]
    case 'inHg':
      return [1 / 3.38639, 0]
    case 'psi':
      return [1 / 6.894757, 0]
    case 'mph':
      return [1 / 1.609344, 0]
    default:
      return [1, 0]
  }
}
