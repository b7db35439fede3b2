import type { BankReading, LiveReading } from '../../core/contract/live.ts'
import type { SourceStatus } from '../../core/contract/stream.ts'
import { formatNumber, NO_VALUE } from '../../core/units/format.ts'
import type { UnitId } from '../../core/units/unitTable.ts'
import type { LinkState } from '../worker/messages.ts'
import { type GateSide, gateSide } from './gateSide.ts'
import { createMixtureUnit } from './mixtureUnit.ts'
import { faultText, isStateKnown, stateText } from './stateWords.ts'
import { decimalMark, type ShownValue, shownValue } from './units.ts'

/** The mixture slat in words: a number that may be believed, or a word and a reason in its place. */
export type MixtureWords =
  | {
      kind: 'number'
      number: string
      side: GateSide
      /** `LEAN`, `RICH`, `ON TARGET`, or empty without a target. */
      word: string
      /** `0.09`, empty on target. */
      distance: string
      target: string
      state: string
    }
  | { kind: 'words'; big: readonly string[]; aside: string; reason: string }

const sideWords: Readonly<Record<GateSide, string>> = {
  rich: 'RICH',
  lean: 'LEAN',
  'on target': 'ON TARGET',
  none: '',
}

/** Bank whose number is shown: the leaner trusted one in the power state, else the chosen one. */
export function shownBank(reading: LiveReading, chosen: 1 | 2): BankReading | undefined {
  const { banks } = reading
  if (reading.state === 'power') {
    let leanest: BankReading | undefined
    for (const bank of banks) {
      if (!Number.isNaN(bank.lambda) && !(leanest && leanest.lambda >= bank.lambda)) leanest = bank
    }
    if (leanest) return leanest
  }
  return banks.find((bank) => bank.bank === chosen) ?? banks[0]
}

export function mixtureWords(
  reading: LiveReading,
  bank: BankReading | undefined,
  unit: UnitId,
): MixtureWords {
  if (!bank) return noReading('no_sensor', Number.NaN)
  const stands = reading.state === 'off' && isStateKnown(reading)
  if (stands && (!bank.untrusted || bank.untrusted === 'out_of_range')) return engineOff
  if (Number.isNaN(bank.lambda)) {
    if (bank.untrusted === 'no_sensor' && !isStateKnown(reading)) return notYet
    return noReading(bank.untrusted ?? 'no_sensor', bank.warmingPct, bank.faultCode)
  }
  const mixture = createMixtureUnit(unit, reading.stoichiometricRatio)
  const { decimals, symbol } = mixture
  // Worked out from the figures as they are shown, so that number, target and distance agree on the screen.
  const round = (lambda: number) => Number(mixture.of(lambda).toFixed(decimals))
  const number = round(bank.lambda)
  const { targetLambda, bandRich, bandLean } = reading
  const format = (value: number) => formatNumber(value, { decimals, decimalMark })
  if (Number.isNaN(targetLambda)) {
    return {
      kind: 'number',
      number: format(number),
      side: 'none',
      word: '',
      distance: '',
      target: '',
      state: noTargetText(reading),
    }
  }
  const target = round(targetLambda)
  const error = Number((number - target).toFixed(decimals))
  const step = (lambda: number) =>
    Number(Math.abs(mixture.of(targetLambda + lambda) - mixture.of(targetLambda)).toFixed(decimals))
  const side = gateSide(mixture.isTurned ? -error : error, step(-bandRich), step(bandLean))
  const even = Math.abs(bandRich - bandLean) < 5e-4
  const [from, to] = mixture.isTurned ? [bandLean, -bandRich] : [-bandRich, bandLean]
  const range = even
    ? `${format(target)} ± ${format(step(bandLean))}`
    : `${format(round(targetLambda + from))}–${format(round(targetLambda + to))}`
  return {
    kind: 'number',
    number: format(number),
    side,
    word: sideWords[side],
    distance: side === 'on target' ? '' : format(Math.abs(error)),
    target: `target ${range} ${symbol}`,
    state: stateText(reading),
  }
}

/** The first samples of a board that sends the mixture less often than the rest. */
const notYet: MixtureWords = { kind: 'words', big: ['NO DATA', 'YET'], aside: '', reason: 'listening' }

/** What is left in the exhaust, and the air that follows, is no mixture of this engine. */
const engineOff: MixtureWords = {
  kind: 'words',
  big: ['ENGINE', 'OFF'],
  aside: '',
  reason: 'no mixture to judge',
}

/** Why a number has no target: without engine speed nobody knows whether idle, cruise or full throttle is to be judged. */
function noTargetText(reading: LiveReading): string {
  if (!isStateKnown(reading)) return ''
  return reading.state === 'running' ? 'no target without engine speed' : `no target in ${stateText(reading)}`
}

function noReading(
  why: NonNullable<BankReading['untrusted']>,
  warmingPct: number,
  faultCode?: string,
): MixtureWords {
  switch (why) {
    case 'warming':
      return {
        kind: 'words',
        big: ['SENSOR', 'WARMING'],
        aside: Number.isNaN(warmingPct) ? '' : `${formatNumber(Math.min(99, warmingPct))} %`,
        reason: 'no reading before it is hot',
      }
    case 'fault':
      return { kind: 'words', big: ['SENSOR', 'FAULT'], aside: '', reason: faultText(faultCode) }
    case 'overrun':
      return { kind: 'words', big: ['OVERRUN'], aside: '', reason: 'throttle closed, left out' }
    case 'delay_edge':
      return { kind: 'words', big: ['SETTLING'], aside: '', reason: 'the load has just changed' }
    case 'gap':
      return { kind: 'words', big: ['NO DATA'], aside: '', reason: 'samples are missing' }
    case 'out_of_range':
      return { kind: 'words', big: ['OFF THE', 'SCALE'], aside: '', reason: 'beyond what the sensor tells' }
    case 'no_sensor':
      return { kind: 'words', big: ['NO', 'READING'], aside: '', reason: 'the board sends no mixture' }
  }
}

/** What is known while no sample comes. */
export interface Silence {
  silentS: number
  link: LinkState
  /** Of the board; undefined when the bridge has none, or has not said. */
  source: SourceStatus['state'] | undefined
  /** The bridge has told this page of its sources, as far as it has any. */
  isGreeted: boolean
  isPaired: boolean
  /** Test switch: the page state to show. */
  forced: string | null
}

/** In place of the number while no sample comes: the drive page's empty, loading, error and offline states. */
export function silentWords({ silentS, link, source, isGreeted, isPaired, forced }: Silence): MixtureWords {
  const words = (big: readonly string[], aside: string, reason: string): MixtureWords => ({
    kind: 'words',
    big,
    aside,
    reason,
  })
  if (forced === 'error' || (!isPaired && forced === null))
    return words(['NOT', 'PAIRED'], '', 'open the pairing link again')
  const isNew = forced === null && !Number.isFinite(silentS)
  if (forced === 'loading' || (isNew && (link === 'connecting' || (link === 'open' && !isGreeted))))
    return words(['CONNECTING'], '', 'to the bridge')
  if (isNew && link === 'open' && (source === 'connected' || source === 'connecting'))
    return words(['CONNECTING'], '', 'to the board')
  const isCut = forced === 'offline' || (link !== 'open' && forced === null)
  const reason = isCut ? 'no link to the bridge' : 'the board is silent'
  if (forced === 'empty' || (!Number.isFinite(silentS) && !isCut))
    return words(['NO DATA', 'YET'], '', 'plug in the board')
  return words(['NO DATA'], Number.isFinite(silentS) ? `${Math.floor(silentS)} s` : '', reason)
}

export interface HelperView extends ShownValue {
  label: string
  /** For narrow screens. */
  short: string
}

export interface HelperUnits {
  manifold: UnitId
  temperature: UnitId
  speed: UnitId
}

/**
 * The two helpers: manifold pressure (coolant while warming) and engine speed; what a board lacks gives way to the next best that it sends.
 */
export function helperViews(reading: LiveReading | undefined, units: HelperUnits): HelperView[] {
  if (!reading) {
    return [
      { label: 'manifold pressure', short: 'manifold', text: NO_VALUE, unit: '' },
      { label: 'engine speed', short: 'engine', text: NO_VALUE, unit: '' },
    ]
  }
  const helper = (label: string, short: string, value: number, unit: UnitId): HelperView | undefined =>
    Number.isNaN(value) ? undefined : { label, short, ...shownValue(value, unit) }
  const isWarming = reading.state === 'warm_up' || reading.banks.some((bank) => bank.untrusted === 'warming')
  const coolant = helper('coolant', 'coolant', reading.coolantC, units.temperature)
  const exhaust = helper('exhaust', 'exhaust', reading.exhaustC, units.temperature)
  const supply = helper('supply', 'supply', reading.supplyV, 'V')
  const speed = helper('engine speed', 'engine', reading.engineSpeedRpm, 'rpm')
  const road = helper('road speed', 'road', reading.roadSpeedMs, units.speed)
  const throttle = helper('throttle', 'throttle', reading.throttlePct, '%')
  const manifold = manifoldHelper(reading, units.manifold)
  const second = speed ?? road ?? supply ?? notSent('engine speed', 'engine')
  const others = [isWarming ? coolant : undefined, manifold, throttle, coolant, exhaust, supply]
  const first = others.find((other) => other && other.label !== second.label)
  return [first ?? notSent('manifold pressure', 'manifold'), second]
}

const notSent = (label: string, short: string): HelperView => ({
  label,
  short,
  text: NO_VALUE,
  unit: 'not sent',
})

/** Vacuum where that is chosen and the barometer is known. */
function manifoldHelper({ manifoldKpa, barometerKpa }: LiveReading, chosen: UnitId): HelperView | undefined {
  if (Number.isNaN(manifoldKpa)) return undefined
  const wantsVacuum = chosen.includes('vacuum')
  const isVacuum = wantsVacuum && !Number.isNaN(barometerKpa)
  const value = shownValue(manifoldKpa, wantsVacuum && !isVacuum ? 'kPa' : chosen, { barometerKpa })
  return {
    label: isVacuum ? 'manifold vacuum' : 'manifold pressure',
    short: isVacuum ? 'vacuum' : 'manifold',
    text: value.text,
    unit: value.unit.replace(' vacuum', ''),
  }
}
