import { type GGAPacket, parseNmeaSentence, type RMCPacket, type VTGPacket } from 'nmea-simple'
import type { ChannelDeclaration, SampleBlock } from '../contract/samples.ts'

const metresPerSecondPerKnot = 1852 / 3600
/** A height is held for a sample at most this long, seconds: chosen here, two periods of a 1 Hz receiver. */
const heightHoldS = 2.5
/** Without an RMC sentence for so long, VTG and GGA together make the samples, seconds: chosen here. */
const rmcPatienceS = 3
/** Samples stop counting as the same clock when the receiver's clock and the bridge's differ by more than this, seconds. */
const clockJumpS = 2
/** How fast the arrival clock may be thought to drift from satellite time, s/s: quartz is within 100 ppm; common practice, no source. */
const clockDriftRate = 100e-6
/** NMEA 0183 allows 82 characters; receivers with many decimals send more. Longer lines are noise. */
const maxSentenceLength = 120

const channels: readonly ChannelDeclaration[] = [
  { index: 0, name: 'road_speed', unit: 'm/s', scale: 1, offset: 0 },
  { index: 1, name: 'altitude', unit: 'm', scale: 1, offset: 0 },
  { index: 2, name: 'latitude', unit: 'deg', scale: 1, offset: 0 },
  { index: 3, name: 'longitude', unit: 'deg', scale: 1, offset: 0 },
  { index: 4, name: 'course', unit: 'deg', scale: 1, offset: 0 },
]

/** One position, in full precision (sample columns are single precision: about half a metre). */
export interface GpsFix {
  /** Capture or bridge seconds, from the receiver's clock laid on the arrival clock. */
  readonly timeS: number
  /** Milliseconds since 1970 by satellite time, NaN when the receiver gave no date. */
  readonly utcMs: number
  readonly latitudeDeg: number
  readonly longitudeDeg: number
  readonly altitudeM: number
  readonly speedMs: number
  readonly courseDeg: number
}

/** Counters of a position receiver's lines. */
export interface GpsCounts {
  sentences: number
  badChecksum: number
  /** Lines that are no sentence, and sentences whose fields make no sense. */
  unreadable: number
  /** Sound sentences of kinds that are not used here. */
  passedOver: number
  /** Sentences that say "no fix". */
  withoutFix: number
  fixes: number
}

export interface GpsDecoder {
  /** One line as it came, without its line end, with its arrival on the capture's clock. */
  push(sentence: string, arrivalS: number): void
  readonly counts: GpsCounts
}

export interface GpsDecoderOptions {
  /** Number of the source, default 1. */
  source?: number
  /** Called with a block of one sample; valid only during the call. */
  block?(block: SampleBlock): void
  fix?(fix: GpsFix): void
}

/**
 * Reads NMEA 0183 sentences (RMC, GGA, VTG; any talker) of a position receiver into samples of road speed and height. A sample is laid at the
 * receiver's own time of fix: that clock is tied to the arrival clock by the least delay seen, which the serial line's jitter cannot pull, and
 * follows a drift of at most 100 ppm. A sentence with a wrong checksum or without a fix is counted and gives nothing: never a zero speed.
 */
export function createGpsDecoder(options: GpsDecoderOptions): GpsDecoder {
  const counts: GpsCounts = {
    sentences: 0,
    badChecksum: 0,
    unreadable: 0,
    passedOver: 0,
    withoutFix: 0,
    fixes: 0,
  }
  const clock = createClockTie()
  const timeS = new Float64Array(1)
  const columns = channels.map(() => new Float32Array(1))
  const block: SampleBlock = { source: options.source ?? 1, segment: 0, channels, count: 1, timeS, columns }
  let altitudeM = Number.NaN
  let altitudeAtS = Number.NEGATIVE_INFINITY
  let positionGga: GGAPacket | undefined
  let lastRmcS = Number.NEGATIVE_INFINITY
  let lastTimeS = Number.NEGATIVE_INFINITY

  const emit = (fix: GpsFix) => {
    // A repeated or backward fix (a receiver that sends one epoch twice) must not break the ascending times.
    if (!(fix.timeS > lastTimeS)) return
    lastTimeS = fix.timeS
    counts.fixes++
    timeS[0] = fix.timeS
    columns[0][0] = fix.speedMs
    columns[1][0] = fix.altitudeM
    columns[2][0] = fix.latitudeDeg
    columns[3][0] = fix.longitudeDeg
    columns[4][0] = fix.courseDeg
    options.block?.(block)
    options.fix?.(fix)
  }
  const heightAt = (arrivalS: number) => (arrivalS - altitudeAtS <= heightHoldS ? altitudeM : Number.NaN)

  const takeGga = (gga: GGAPacket, arrivalS: number) => {
    if (gga.fixType === 'none') {
      counts.withoutFix++
      positionGga = undefined
      return
    }
    positionGga = gga
    altitudeM = gga.altitudeMeters
    altitudeAtS = arrivalS
  }
  const takeRmc = (rmc: RMCPacket, hasSpeed: boolean, arrivalS: number) => {
    lastRmcS = arrivalS
    if (rmc.status !== 'valid') {
      counts.withoutFix++
      return
    }
    const utcMs = rmc.datetime.getTime()
    emit({
      timeS: clock.lay(utcMs / 1000, arrivalS),
      utcMs,
      latitudeDeg: rmc.latitude,
      longitudeDeg: rmc.longitude,
      altitudeM: heightAt(arrivalS),
      speedMs: hasSpeed ? rmc.speedKnots * metresPerSecondPerKnot : Number.NaN,
      courseDeg: rmc.trackTrue,
    })
  }
  const takeVtg = (vtg: VTGPacket, hasSpeed: boolean, arrivalS: number) => {
    if (!positionGga || !hasSpeed || arrivalS - lastRmcS < rmcPatienceS) return
    emit({
      timeS: arrivalS,
      utcMs: Number.NaN,
      latitudeDeg: positionGga.latitude,
      longitudeDeg: positionGga.longitude,
      altitudeM: heightAt(arrivalS),
      speedMs: vtg.speedKnots * metresPerSecondPerKnot,
      courseDeg: vtg.trackTrue,
    })
  }

  return {
    counts,
    push(line, arrivalS) {
      const sentence = line.trim()
      if (sentence === '') return
      counts.sentences++
      if (sentence[0] !== '$' && sentence[0] !== '!') counts.unreadable++
      else if (!isWhole(sentence)) counts.badChecksum++
      else if (!/^\$[A-Z]{2}(?:RMC|GGA|VTG),/.test(sentence)) counts.passedOver++
      else {
        const packet = parsed(sentence)
        const fields = sentence.split(',')
        if (packet?.sentenceId === 'GGA') takeGga(packet, arrivalS)
        else if (packet?.sentenceId === 'RMC') takeRmc(packet, fields[7] !== '', arrivalS)
        else if (packet?.sentenceId === 'VTG') takeVtg(packet, fields[5] !== '', arrivalS)
        else counts.unreadable++
      }
    },
  }
}

/** The library's packet, or undefined for a sentence whose fields make no sense (the library throws then). */
function parsed(sentence: string): ReturnType<typeof parseNmeaSentence> | undefined {
  try {
    return parseNmeaSentence(sentence)
  } catch {
    return undefined
  }
}

/** True for a sentence, of a maker's own kind too, that ends in the checksum of what stands before. */
function isWhole(sentence: string): boolean {
  return (
    sentence.length <= maxSentenceLength &&
    /^.[A-Z][A-Z0-9]{2,9},[^*]*\*[0-9A-Fa-f]{2}$/.test(sentence) &&
    xorOf(sentence) === Number.parseInt(sentence.slice(-2), 16)
  )
}

/** XOR of all characters between `$` and `*` (NMEA 0183's checksum). */
function xorOf(sentence: string): number {
  let sum = 0
  for (let i = 1; i < sentence.length - 3; i++) sum ^= sentence.charCodeAt(i)
  return sum
}

/** Ties a clock of its own (satellite seconds) to the arrival clock by the least delay seen so far. */
function createClockTie(): { lay(ownS: number, arrivalS: number): number } {
  let leastOffset = Number.POSITIVE_INFINITY
  let atS = 0
  return {
    lay(ownS, arrivalS) {
      if (Number.isNaN(ownS)) return arrivalS
      const offset = arrivalS - ownS
      // The least delay is allowed to creep up, so that a receiver clock that runs fast is followed.
      const crept = leastOffset + clockDriftRate * Math.max(0, arrivalS - atS)
      leastOffset = offset < crept || offset - crept > clockJumpS ? offset : crept
      atS = arrivalS
      return ownS + leastOffset
    },
  }
}
