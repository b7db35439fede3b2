import { densityAltitudeM } from '../../core/air/densityAltitude.ts'
import type { Fitted, Part } from '../../core/contract/car.ts'
import type { AnalysisResult, Transient, TransientPattern } from '../../core/contract/result.ts'
import { partWord } from '../../core/tuning/adviceText.ts'
import { formatNumber, MINUS, NARROW_SPACE } from '../../core/units/format.ts'
import { localStart } from '../../core/units/localStart.ts'
import type { UnitId } from '../../core/units/unitTable.ts'
import { language } from '../languageGuard.ts'
import { elapsedText } from '../state/clock.svelte.ts'
import { alarmText } from './alarmWords.ts'
import { stateWords } from './stateWords.ts'
import { decimalMark, shownValue, spaced, type UnitChoices, unitFor } from './units.ts'

/** Number with fixed decimals and the reader's decimal mark; `–` for null and NaN. */
export function num(value: number | null | undefined, decimals: number, isSigned = false): string {
  return formatNumber(value ?? Number.NaN, { decimals, decimalMark, isSigned })
}

/** Minutes and seconds of the run; what lies before the button has a minus. */
export function runTimeText(timeS: number): string {
  return timeS < 0 ? `${MINUS}${elapsedText(-timeS)}` : elapsedText(timeS)
}

/** A time with tenths, for tables of events. */
export function runTimeTenths(timeS: number): string {
  const tenths = Math.floor(Math.abs(timeS) * 10) % 10
  return `${runTimeText(timeS)}${decimalMark}${tenths}`
}

/** When a run began, by the clock where it was driven: `14 Jun 2025, 9:12`; `UTC` after it where the capture names no other zone. */
export function runStartText({ start, zone }: { start?: string; zone?: string } = {}): string {
  const local = localStart(start ?? '', zone)
  // The clock in UTC is read as if on the wall, as the sheet prints it.
  return /Z$/i.test(local) ? `${runDateText(local.replace(/Z$/i, '+00:00'))} UTC` : runDateText(local)
}

/** `14 Jun 2025, 9:12` by the clock that noted it, when it carries an offset; else by the one here. */
export function runDateText(start: string | undefined): string {
  if (!start) return 'unknown day'
  const withOffset = /^(\d{4}-\d\d-\d\dT\d\d:\d\d(?::\d\d(?:\.\d+)?)?)(?:[+-]\d\d:?\d\d)$/.exec(start)
  // Read as if in this zone: the clock on the wall there is what the owner remembers.
  const date = new Date(withOffset ? withOffset[1] : start)
  if (Number.isNaN(date.getTime())) return start
  return new Intl.DateTimeFormat(language, {
    day: 'numeric',
    month: 'short',
    year: 'numeric',
    hour: 'numeric',
    minute: '2-digit',
  }).format(date)
}

/** `31 min`, `48 s`. */
export function lengthText(seconds: number): string {
  if (!(seconds >= 0)) return '–'
  if (seconds < 90) return `${Math.round(seconds)}${NARROW_SPACE}s`
  const minutes = Math.round(seconds / 60)
  return minutes < 90
    ? `${minutes}${NARROW_SPACE}min`
    : `${Math.floor(minutes / 60)}${NARROW_SPACE}h ${minutes % 60}${NARROW_SPACE}min`
}

/** Between facts of one line: the dot stays with what it follows when the line breaks. */
export const DOT = '\u00a0· '

/** A part's name in words, as advice says it. */
export const partText = partWord

/** Screws are set to eighths of a turn, half of which take a third decimal. */
export const turnsDecimals = (turns: number) =>
  Math.abs(turns * 100 - Math.round(turns * 100)) > 1e-6 ? 3 : 2

/** `1.50`, `1.125`. */
export const turnsText = (turns: number) => num(turns, turnsDecimals(turns))

/** `71`, `1.50 turns`: what is stamped on it, or how it is set. */
export function sizeText(part: Part | Record<string, unknown> | null | undefined): string {
  if (!part) return 'none'
  const { label, turns } = part as Part
  return turns === undefined ? String(label) : `${turnsText(turns)} turns`
}

/** `main jet 71 · squirter 31`; the first few, and how many more. */
export function fittedText(fitted: Fitted | undefined, most = 4): string {
  const entries = Object.entries(fitted ?? {})
  if (entries.length === 0) return 'nothing noted as fitted'
  const shown = entries.slice(0, most).map(([part, size]) => `${partText(part)} ${sizeText(size)}`)
  const more = entries.length - shown.length
  return `${shown.join(DOT)}${more > 0 ? `${DOT}${more} more` : ''}`
}

/** What differs from one set of parts to another: `main jet 77 → 71`. */
export function changesText(from: Fitted, to: Fitted): string[] {
  return [...new Set([...Object.keys(from), ...Object.keys(to)])]
    .filter((part) => sizeText(from[part]) !== sizeText(to[part]))
    .map((part) => `${partText(part)} ${sizeText(from[part])} → ${sizeText(to[part])}`)
}

interface AirLike {
  temperature_C?: number
  pressure_kPa?: number
  humidity_pct?: number
}

/** Heights are in feet where roads are in miles. */
export const heightUnit = (choices: UnitChoices): UnitId =>
  ['mi', 'ft'].includes(unitFor('distance', choices, 'km')) ? 'ft' : 'm'

/** `18 °C, 101 kPa, density altitude 120 m`. */
export function airText(air: unknown, choices: UnitChoices, withAltitude = true): string {
  const { temperature_C, pressure_kPa, humidity_pct = 0 } = (air ?? {}) as AirLike
  if (temperature_C === undefined || pressure_kPa === undefined) return 'air not noted'
  const temperature = shownValue(temperature_C, unitFor('temperature', choices, 'C'))
  const chosen = unitFor('pressure', choices, 'kPa')
  const pressureUnit = chosen.includes('vacuum') ? 'inHg' : chosen.includes('gauge') ? 'kPa' : chosen
  const pressure = shownValue(pressure_kPa, pressureUnit)
  const text = `${temperature.text}${NARROW_SPACE}${temperature.unit}, ${pressure.text}${NARROW_SPACE}${pressure.unit}`
  if (!withAltitude) return text
  try {
    const metres = densityAltitudeM({
      temperatureC: temperature_C,
      pressureKpa: pressure_kPa,
      humidityPct: humidity_pct,
    })
    const altitude = shownValue(Math.round(metres / 10) * 10, heightUnit(choices))
    return `${text}, density altitude ${altitude.text}${NARROW_SPACE}${altitude.unit}`
  } catch {
    // A noted air that cannot be has no altitude; the rest is still what was noted.
    return text
  }
}

/** What a tip-in did, in words. */
export const patternWords: Readonly<Record<TransientPattern, string>> = {
  lean_at_once: 'lean at once',
  lean_later: 'lean later',
  rich: 'rich',
  lean_then_rich: 'lean, then rich',
  lean_at_secondary: 'lean as the secondaries open',
  clean: 'clean',
}

export const coverageWords: Readonly<Record<string, string>> = {
  idle: 'warm idle',
  cruise: 'steady cruise at three speeds',
  tip_in_cruise: 'tip-ins from cruise',
  tip_in_idle: 'tip-ins from idle',
  pull: 'full-throttle pulls',
  overrun: 'overruns',
}

/** What of the recording is damaged or missing, in one or two sentences. */
export function integrityText({ integrity }: AnalysisResult, skipped: readonly string[]): string {
  const { bad_checksum, missing_samples, torn_end, gaps, samples } = integrity
  const said: string[] = []
  if (bad_checksum > 0) said.push(`${count(bad_checksum, 'damaged line')} left out`)
  if (missing_samples > 0) said.push(`${count(missing_samples, 'sample')} never arrived`)
  const unreadable = Number(integrity.unreadable ?? 0)
  if (unreadable > 0) said.push(`${count(unreadable, 'line')} unreadable`)
  const restarts = Number(integrity.restarts ?? 0)
  if (restarts > 0) said.push(`the board restarted ${restarts === 1 ? 'once' : `${restarts} times`}`)
  if (gaps.length > 0) {
    const seconds = gaps.reduce((sum, gap) => sum + gap.end_s - gap.start_s, 0)
    said.push(`${count(gaps.length, 'gap')} of ${num(seconds, 1)}${NARROW_SPACE}s in all`)
  }
  if (torn_end) said.push('the last line was torn and dropped')
  const head =
    said.length === 0
      ? `The recording is whole: ${spaced(String(samples))} samples, nothing missing.`
      : `Of ${spaced(String(samples))} samples: ${said.join(', ')}. The rest is used.`
  return [head, ...skipped].join(' ')
}

const count = (n: number, thing: string) => `${spaced(String(n))} ${thing}${n === 1 ? '' : 's'}`

/** Something in the run that a person may want to jump to. */
export interface RunEvent {
  timeS: number
  kind: 'tip-in' | 'tip-out' | 'alarm' | 'mark' | 'note' | 'pull'
  words: string
}

/** Events of a run in order of time. */
export function runEvents(result: AnalysisResult): RunEvent[] {
  const events: RunEvent[] = []
  for (const transient of result.transients) {
    events.push({
      timeS: transient.start_s,
      kind: transient.kind === 'tip_in' ? 'tip-in' : 'tip-out',
      words: transientWords(transient),
    })
  }
  for (const alarm of result.alarms) {
    const { verb, reason } = alarmText(alarm.code)
    events.push({ timeS: alarm.start_s, kind: 'alarm', words: `${verb.toLowerCase()}: ${reason}` })
  }
  for (const mark of result.run.marks ?? [])
    events.push({ timeS: mark.t_s, kind: 'mark', words: mark.label ? `mark: ${mark.label}` : 'mark' })
  for (const note of result.run.notes ?? [])
    events.push({ timeS: note.t_s, kind: 'note', words: `note: ${note.text.slice(0, 60)}` })
  for (const pull of result.pulls) events.push({ timeS: pull.start_s, kind: 'pull', words: 'pull begins' })
  return events.sort((a, b) => a.timeS - b.timeS)
}

function transientWords({ kind, pattern, from_state, stumble }: Transient): string {
  const name = kind === 'tip_in' ? 'tip-in' : 'tip-out'
  const words = [`${name} from ${stateWords[from_state]}`]
  if (pattern) words.push(patternWords[pattern])
  if (stumble) words.push('stumble')
  return words.join(', ')
}

/** `lambda 1.04` for a screen reader, or why there is none. */
export function spokenTime(timeS: number): string {
  const whole = Math.max(0, Math.floor(timeS))
  const minutes = Math.floor(whole / 60)
  const seconds = whole % 60
  const said = (n: number, unit: string) => `${n} ${unit}${n === 1 ? '' : 's'}`
  const text = minutes > 0 ? `${said(minutes, 'minute')} ${said(seconds, 'second')}` : said(seconds, 'second')
  return timeS < -0.5 ? `${said(Math.round(-timeS), 'second')} before the start` : text
}
