import type { LiveReading } from '../../core/contract/live.ts'
import { formatNumber, NARROW_SPACE } from '../../core/units/format.ts'
import type { AlarmRecord } from '../state/alarms.svelte.ts'
import type { App } from '../state/app.ts'
import { alarmQuantity, alarmText, bankText, worstText } from './alarmWords.ts'
import {
  type HelperView,
  helperViews,
  type MixtureWords,
  mixtureWords,
  shownBank,
  silentWords,
} from './driveWords.ts'
import { createMixtureUnit, mixtureText } from './mixtureUnit.ts'
import { coverageText, stateWords } from './stateWords.ts'
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
  notes: string
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
  const bank = digits && shownBank(digits, settings.values.bank)
  const names = link.car?.sensor?.bank_names ?? []
  const bankCount = digits?.banks.length ?? 0
  const shown = alarms.shown
  const shownWords = shown ? alarmText(shown.code) : { verb: '', reason: '' }
  const shownBankText = shown ? bankText(shown, names, bankCount) : ''
  const announced = alarms.announcement ? alarmText(alarms.announcement) : undefined
  return {
    words: isLive
      ? mixtureWords(digits, bank, mixtureUnit)
      : silentWords({
          silentS: reading.silentS,
          link: link.status.state,
          isPaired: link.status.problem !== 'not_paired',
          forced: app.router.option('state'),
        }),
    strip: isLive ? reading.strip : undefined,
    bankNames: names,
    shownName: bank && bankCount > 1 ? (names[bank.bank - 1] ?? `bank ${bank.bank}`) : '',
    helpers: helperViews(isLive ? digits : undefined, {
      manifold: unitFor('pressure', choices, 'kPa'),
      temperature,
      speed: unitFor('speed', choices, 'km/h'),
    }),
    stateWord: recording.feedbackText || (isLive ? stateWords[digits.state] : 'no data'),
    stateLine: stateLine(app, isLive ? digits : undefined),
    notes: notes(app),
    alarm: {
      verb: shownWords.verb,
      reason: [shownWords.reason, shownBankText].filter(Boolean).join(' · '),
    },
    recordText: alarms.latched
      ? recordText(alarms.latched, alarms.latchedCount, mixtureUnit, temperature, digits)
      : '',
    announcement: announced ? `${announced.verb}, ${announced.reason}` : '',
  }
}

function stateLine(app: App, digits: LiveReading | undefined): string {
  const advisory = app.alarms.advisory
  if (advisory) return `○ ${alarmText(advisory.code).reason}`
  if (!digits) return ''
  const warmUp = digits.warmUp
  if (digits.state === 'warm_up' && warmUp) {
    const stalls =
      warmUp.stalls === 0 ? '' : ` · ${warmUp.stalls} ${warmUp.stalls === 1 ? 'stall' : 'stalls'}`
    return `${warmUp.selfIdles ? 'idles by itself' : 'not yet idling by itself'}${stalls}`
  }
  const covered = coverageText(digits.coverage, digits.state)
  // In overrun the reason is the state itself, which is said above.
  if (digits.steady || !digits.steadyWhyNot || digits.steadyWhyNot === stateWords[digits.state])
    return covered
  return [covered, digits.steadyWhyNot].filter(Boolean).join(' · ')
}

/** At most two of what is not right, the gravest first. */
function notes(app: App): string {
  const found: string[] = []
  if (app.recording.problem) found.push('RECORDING FAILED')
  if (!app.sound.isOn) found.push('SOUND OFF')
  if (app.alarms.mutedCount > 0) found.push(`${app.alarms.mutedCount} muted`)
  if (app.screen.maySleep && app.recording.status.on) found.push('screen may sleep')
  return found.slice(0, 2).join(' · ')
}

function recordText(
  record: AlarmRecord,
  count: number,
  mixtureUnit: ReturnType<typeof unitFor>,
  temperature: ReturnType<typeof unitFor>,
  reading: LiveReading | undefined,
): string {
  const words = alarmText(record.code).reason
  const duration = `${formatNumber(record.durationS, { decimals: 1, decimalMark })}${NARROW_SPACE}s`
  const quantity = alarmQuantity(record.code)
  const mixture = createMixtureUnit(mixtureUnit, reading?.stoichiometricRatio ?? Number.NaN)
  const hasWorst = !(Number.isNaN(record.worst) || quantity === undefined || quantity === 'seconds')
  // The narrow tile has room for the bare figure; its unit is that of the number above.
  const worst = !hasWorst
    ? ''
    : quantity === 'lambda'
      ? ` ${mixtureText(record.worst, mixture)}`
      : ` ${worstText(record.code, record.worst, { mixture, temperature })}`
  const name = quantity === 'lambda' ? words.split(' ')[0] : words
  return `was ${name}${worst}, ${duration}${count > 1 ? ` +${count - 1}` : ''}`
}
