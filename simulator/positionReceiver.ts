import type { Engine } from './engine.ts'
import type { LineSink } from './outputs.ts'
import type { Random } from './random.ts'

const periodS = 0.2
/** From the fix to the sentence's arrival, s; common practice, no source. */
const latencyS = 0.05
const knotsPerMs = 3600 / 1852
/** Invented place where every run begins, degrees. */
const startLatDeg = 47
const startLonDeg = 8
const metresPerDegree = 111_320

/** A position receiver on its own port: recommended minimum sentences of NMEA 0183, five a second. */
export class PositionReceiver {
  private readonly startMs: number
  private readonly sink: LineSink
  private readonly random: Random
  private nextS = 0
  private headingDeg = 40
  private northM = 0
  private eastM = 0
  private lastM = 0

  constructor(startMs: number, sink: LineSink, random: Random) {
    this.startMs = startMs
    this.sink = sink
    this.random = random
  }

  /** Sends the sentence that is due. */
  step(timeS: number, engine: Engine): void {
    if (timeS < this.nextS) return
    this.nextS += periodS
    const movedM = engine.distanceM - this.lastM
    this.lastM = engine.distanceM
    this.headingDeg = (this.headingDeg + 0.04 * movedM * this.random.normal() + 360) % 360
    const heading = (this.headingDeg * Math.PI) / 180
    this.northM += movedM * Math.cos(heading)
    this.eastM += movedM * Math.sin(heading)
    const clock = new Date(this.startMs + timeS * 1000).toISOString()
    const time = `${clock.slice(11, 13)}${clock.slice(14, 16)}${clock.slice(17, 22)}`
    const date = `${clock.slice(8, 10)}${clock.slice(5, 7)}${clock.slice(2, 4)}`
    const lat = degreesMinutes(startLatDeg + this.northM / metresPerDegree, 2)
    const eastPerDegree = metresPerDegree * Math.cos((startLatDeg * Math.PI) / 180)
    const lon = degreesMinutes(startLonDeg + this.eastM / eastPerDegree, 3)
    const knots = Math.max(0, engine.speedMs * knotsPerMs + 0.05 * this.random.normal())
    const body = `GPRMC,${time},A,${lat},N,${lon},E,${knots.toFixed(2)},${this.headingDeg.toFixed(1)},${date},,,A`
    let sum = 0
    for (let i = 0; i < body.length; i++) sum ^= body.charCodeAt(i)
    const bytes = new TextEncoder().encode(`$${body}*${sum.toString(16).toUpperCase().padStart(2, '0')}`)
    this.sink.line(timeS + latencyS, 1, bytes, bytes.length)
  }
}

/** ddmm.mmmm or dddmm.mmmm of positive degrees. */
function degreesMinutes(degrees: number, digits: number): string {
  const whole = Math.floor(degrees)
  const minutes = ((degrees - whole) * 60).toFixed(4).padStart(7, '0')
  return `${String(whole).padStart(digits, '0')}${minutes}`
}
