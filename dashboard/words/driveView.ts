import type { LiveReading } from '../../core/contract/live.ts'
import { formatNumber, NARROW_SPACE, NO_VALUE } from '../../core/units/format.ts'
import type { AlarmRecord } from '../state/alarms.svelte.ts'
import type { App } from '../state/app.ts'
import {
  alarmQuantity,
  alarmText,
  bankText,
  recordName,
  type WorstUnits,
  worstText,
  worstUnits,
} from './alarmWords.ts'
import { shortBankNames } from './bankNames.ts'
import {
  type HelperView,
  helperViews,
  type MixtureWords,
  mixtureWords,
  shownBank,
  silentWords,
} from './driveWords.ts'
import { createMixtureUnit, mixtureText } from './mixtureUnit.ts'
import { drivingLine, stateText } from './stateWords.ts'
import { decimalMark, unitFor } from './units.ts'

/** Everything that the drive page says, in words. */
export interface DriveView {
  words: MixtureWords
  /** Undefined while no sample comes: an old strip would lie. */
  strip: LiveReading | undefined
  bankNames: readonly string[]
  shownName: string
  helpers: readonly HelperView[]
  stateWord: string
  stateLine: string
  notes: readonly string[]
  alarm: { verb: string; reason: string }
  recordText: string
  announcement: string
}

export function driveView(app: App): DriveView {
  const { settings, reading, recording, link, alarms } = app
  const choices = [settings.values.units, link.car?.units]
  const mixtureUnit = unitFor('mixture', choices, 'lambda')
  const temperature = unitFor('temperature', choices, 'C')
  const digits = reading.digits
  const isLive = digits !== undefined && !reading.isStale && app.router.option('state') === null
  const hadData = Number.isFinite(reading.silentS)
  const bank = digits && shownBank(digits, settings.values.bank)
  const names = shortBankNames(link.car?.sensor?.bank_names)
  const bankCount = digits?.banks.length ?? 0
  const shown = alarms.shown
  const shownWords = shown ? alarmText(shown.code, link.cut) : { verb: '', reason: '' }
  const shownBankText = shown ? bankText(shown, names, bankCount) : ''
  const announced = alarms.announcement ? alarmText(alarms.announcement, link.cut) : undefined
  return {
    words: isLive
      ? mixtureWords(digits, bank, mixtureUnit)
      : silentWords({
          silentS: reading.silentS,
          link: link.status.state,
          source: link.sources.find(({ source }) => source === 0)?.state,
          isGreeted: link.isGreeted,
          isPaired: link.status.problem !== 'not_paired',
          forced: app.router.option('state'),
        }),
    strip: isLive ? reading.strip : undefined,
    bankNames: names,
    shownName: bank && bankCount > 1 ? names[bank.bank - 1] : '',
    helpers: helperViews(isLive ? digits : undefined, {
      manifold: unitFor('pressure', choices, 'kPa'),
      temperature,
      speed: unitFor('speed', choices, 'km/h'),
    }),
    stateWord: recording.feedbackText || (isLive ? stateText(digits) : hadData ? 'no data' : NO_VALUE),
    stateLine: stateLine(app, isLive ? digits : undefined),
    notes: notes(app),
    alarm: {
      verb: shownWords.verb,
      reason: [shownWords.reason, shownBankText].filter(Boolean).join(' · '),
    },
    recordText: alarms.latched
      ? recordText(
          alarms.latched,
          alarms.latchedCount,
          worstUnits(choices, createMixtureUnit(mixtureUnit, digits?.stoichiometricRatio ?? Number.NaN)),
        )
      : '',
    announcement: announced ? `${announced.verb}, ${announced.reason}` : '',
  }
}

function stateLine(app: App, digits: LiveReading | undefined): string {
  const advisory = app.alarms.advisory
  if (advisory) return `○ ${alarmText(advisory.code).reason}`
  return digits ? drivingLine(digits) : ''
}

/** At most two of what is not right, the gravest first. */
function notes(app: App): readonly string[] {
  const found: string[] = []
  if (app.recording.problem) found.push('RECORDING FAILED')
  if (!app.sound.isOn) found.push('SOUND OFF')
  if (app.alarms.mutedCount > 0) found.push(`${app.alarms.mutedCount} muted`)
  if (app.screen.maySleep && app.recording.status.on) found.push('screen may sleep')
  return found.slice(0, 2)
}

/** From here on a tenth of a second tells nothing more, s. */
const longDurationS = 10

function recordText(record: AlarmRecord, count: number, units: WorstUnits): string {
  const words = recordName(record.code)
  const decimals = record.durationS < longDurationS ? 1 : 0
  const duration = `${formatNumber(record.durationS, { decimals, decimalMark })}${NARROW_SPACE}s`
  const quantity = alarmQuantity(record.code)
  const hasWorst = !(Number.isNaN(record.worst) || quantity === undefined || quantity === 'seconds')
  // The narrow tile has room for the bare figure; its unit is that of the number above.
  const worst = !hasWorst
    ? ''
    : quantity === 'lambda'
      ? ` ${mixtureText(record.worst, units.mixture)}`
      : ` ${worstText(record.code, record.worst, units).replace(' left', '')}`
  const name = quantity === 'lambda' ? words.split(' ')[0] : words
  return `was ${name}${worst}, ${duration}${count > 1 ? ` +${count - 1}` : ''}`
}
