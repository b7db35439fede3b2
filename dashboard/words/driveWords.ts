import type { BankReading, LiveReading } from '../../core/contract/live.ts'
import { formatNumber } from '../../core/units/format.ts'
import type { UnitId } from '../../core/units/unitTable.ts'
import { type GateSide, gateSide } from '../parts/gateGeometry.ts'
import type { LinkState } from '../worker/messages.ts'
import { createMixtureUnit } from './mixtureUnit.ts'
import { faultText, stateWords } from './stateWords.ts'
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
  if (Number.isNaN(bank.lambda))
    return noReading(bank.untrusted ?? 'no_sensor', bank.warmingPct, bank.faultCode)
  const mixture = createMixtureUnit(unit, reading.stoichiometricRatio)
  const { decimals, symbol } = mixture
  // Worked out from the figures as they are shown, so that number, target and distance agree on the screen.
  const round = (lambda: number) => Number(mixture.of(lambda).toFixed(decimals))
  const number = round(bank.lambda)
  const { targetLambda, bandRich, bandLean } = reading
  const state = stateWords[reading.state]
  const format = (value: number) => formatNumber(value, { decimals, decimalMark })
  if (Number.isNaN(targetLambda)) {
    return {
      kind: 'number',
      number: format(number),
      side: 'none',
      word: '',
      distance: '',
      target: '',
      state: `no target in ${state}`,
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
    state,
  }
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
  isPaired: boolean
  /** Test switch: the page state to show. */
  forced: string | null
}

/** In place of the number while no sample comes: the drive page's empty, loading, error and offline states. */
export function silentWords({ silentS, link, isPaired, forced }: Silence): MixtureWords {
  const words = (big: readonly string[], aside: string, reason: string): MixtureWords => ({
    kind: 'words',
    big,
    aside,
    reason,
  })
  if (forced === 'error' || (!isPaired && forced === null))
    return words(['NOT', 'PAIRED'], '', 'open the pairing link again')
  if (forced === 'loading' || (link === 'connecting' && forced === null && !Number.isFinite(silentS)))
    return words(['CONNECTING'], '', 'to the bridge')
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

/** The two helpers: manifold pressure (coolant while warming) and engine speed; what a board lacks gives way to the next best. */
export function helperViews(reading: LiveReading | undefined, units: HelperUnits): HelperView[] {
  if (!reading) {
    return [
      { label: 'manifold pressure', short: 'manifold', text: '–', unit: '' },
      { label: 'engine speed', short: 'engine', text: '–', unit: '' },
    ]
  }
  const has = (value: number) => !Number.isNaN(value)
  const isWarming = reading.state === 'warm_up' || reading.banks.some((bank) => bank.untrusted === 'warming')
  const coolant = (): HelperView => ({
    label: 'coolant',
    short: 'coolant',
    ...shownValue(reading.coolantC, units.temperature),
  })
  const isVacuum = units.manifold.includes('vacuum') && has(reading.barometerKpa)
  const manifoldUnit = units.manifold.includes('vacuum') && !isVacuum ? 'kPa' : units.manifold
  const manifold = (): HelperView => {
    const value = shownValue(reading.manifoldKpa, manifoldUnit, { barometerKpa: reading.barometerKpa })
    return {
      label: isVacuum ? 'manifold vacuum' : 'manifold pressure',
      short: isVacuum ? 'vacuum' : 'manifold',
      text: value.text,
      unit: value.unit.replace(' vacuum', ''),
    }
  }
  const throttle = (): HelperView => ({
    label: 'throttle',
    short: 'throttle',
    ...shownValue(reading.throttlePct, '%'),
  })
  const speed = (): HelperView => ({
    label: 'engine speed',
    short: 'engine',
    ...shownValue(reading.engineSpeedRpm, 'rpm'),
  })
  const road = (): HelperView => ({
    label: 'road speed',
    short: 'road',
    ...shownValue(reading.roadSpeedMs, units.speed),
  })
  const first =
    isWarming && has(reading.coolantC)
      ? coolant()
      : has(reading.manifoldKpa)
        ? manifold()
        : has(reading.throttlePct)
          ? throttle()
          : has(reading.coolantC)
            ? coolant()
            : manifold()
  const second = !has(reading.engineSpeedRpm) && has(reading.roadSpeedMs) ? road() : speed()
  return [first, second]
}
