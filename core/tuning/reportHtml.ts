import { densityAltitudeM } from '../air/densityAltitude.ts'
import type { AdviceResult, Change } from '../contract/advice.ts'
import { airSchema, type CarProfile, type Fitted } from '../contract/car.ts'
import type { AnalysisResult, RunAnalysis } from '../contract/result.ts'
import { fuelInTank } from '../fuel/fuels.ts'
import { distanceWords, type MixtureUnit, mixtureUnitOf, mixtureWords } from '../units/mixtureUnit.ts'
import { partWord } from './adviceText.ts'
import { leanReadingCautions, reportCautions } from './cautions.ts'
import type { CircuitVerdict } from './circuitVerdict.ts'
import { circuitVerdicts } from './circuitVerdicts.ts'
import { summariseTipIns } from './compareSideBySide.ts'
import { asRunAnalysis } from './evidence.ts'
import { gateRangeFor, hasPosts } from './gateScale.ts'
import type { InjectionFactors } from './injectionFactors.ts'
import { ACCELERATION, accelerationLabel, isTypedIn, typedWords } from './injectionNumbers.ts'
import { doubtOf, gateSvg, verdictIn } from './reportGate.ts'
import { mapTable } from './reportMap.ts'
import { reportCss } from './reportStyle.ts'
import { duration, escapeHtml, figure, startInZone } from './reportText.ts'
import { tipInsFigure } from './reportTipIns.ts'
import { type ReportUnits, reportUnits } from './reportUnits.ts'
import { fittedOfRun, tellsSpeed } from './runObservations.ts'
import { type BoreUnit, boreUnitOf, profileBoreUnit, sizesWord, sizeWord } from './sizeWords.ts'
import { stateWords } from './stateWords.ts'
import { verdictHeadline } from './verdictHeadline.ts'

export interface ReportInput {
  analysis: RunAnalysis | AnalysisResult
  /** Default: as the run carries it. */
  car?: CarProfile
  /** What was fitted; default: as the run's record says. */
  fitted?: Fitted
  advice?: AdviceResult
  /** Unit in which mixture is given: `lambda`, `afr`, `phi`. Default: as the car's profile says, else λ. */
  mixtureUnit?: string
  /** Unit in which bores are given: `mm`, `in`, `thou`. Default: as the car's profile says, else as each was noted. */
  boreUnit?: string
  /** Units of other quantities, such as `{ temperature: 'F' }`. Default: as the car's profile says, else metric ones. */
  units?: Readonly<Record<string, string>>
  /** Style rules put before the sheet's own, for instance an embedded typeface. */
  fontCss?: string
}

/**
 * One run on one printable sheet: a whole HTML document that needs nothing else. Prints on A4 and Letter, legible in grey; every
 * figure that a picture shows is in words too.
 */
export function reportHtml(input: ReportInput): string {
  const run = asRunAnalysis(input.analysis)
  const car = input.car ?? run.car
  const fitted = input.fitted ?? fittedOfRun(run) ?? {}
  const { result } = run
  const unit = mixtureUnitOf(input.mixtureUnit ?? car?.units?.mixture, car?.fuel)
  const units = reportUnits(input.units, car)
  const rows = circuitVerdicts(run, car ? { car } : {})
  const headline = verdictHeadline(tellsSpeed(run) ? rows : run)
  const carName = car?.name ?? result.run.car ?? 'Car without a name'
  const tips = tipInsFigure(result.transients, unit)
  const openings = tips ? `<section><h2>Throttle openings</h2>${tips}</section>` : ''
  const body = [
    `<header><div><b>floatbowl</b> ${escapeHtml(carName)}${car?.description ? ` · ${escapeHtml(car.description)}` : ''}</div>` +
      `<div>${escapeHtml(startInZone(result.run))}</div></header>`,
    `<h1>${escapeHtml(headline)}</h1>`,
    `<p class="facts">${facts(result, car, units)}</p>`,
    warningLine(result, unit),
    circuitTable(rows, unit),
    // Two columns that break over pages each for itself: what does not fit the front goes to the back side by side.
    '<div class="two"><div>',
    input.advice ? nextChange(input.advice, units) : '',
    `<section><h2>Mixture over speed and load</h2>${mapTable(result.map, unit)}</section>`,
    result.map_2 ? `<section><h2>The other bank</h2>${mapTable(result.map_2, unit)}</section>` : '',
    input.advice ? '' : openings,
    '</div><div>',
    `<section><h2>What was fitted</h2>${partsTable(fitted, boreUnitOf(input.boreUnit) ?? profileBoreUnit(car))}</section>`,
    `<section><h2>This run in numbers</h2>${numbersTable(result, units)}</section>`,
    input.advice ? openings : '',
    '</div></div>',
    notesSection(result, input.advice),
    footer(rows, input.advice),
  ]
  return (
    '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">' +
    '<meta name="viewport" content="width=device-width, initial-scale=1">' +
    `<title>${escapeHtml(`${carName}, ${startInZone(result.run)}`)}</title>` +
    `<style>${input.fontCss ?? ''}${reportCss}</style></head><body>\n${body.filter(Boolean).join('\n')}\n</body></html>\n`
  )
}

function facts(result: AnalysisResult, car: CarProfile | undefined, units: ReportUnits): string {
  const words = [duration(result.run.seconds)]
  if (result.run.title) words.unshift(escapeHtml(String(result.run.title)))
  const air = airSchema.safeParse(result.run.air)
  if (air.success) {
    const { temperature_C, pressure_kPa, humidity_pct } = air.data
    const altitude = densityAltitudeM({
      temperatureC: temperature_C,
      pressureKpa: pressure_kPa,
      humidityPct: humidity_pct,
    })
    words.push(
      `air ${units.text('temperature', temperature_C)}, ${units.text('pressure', pressure_kPa, 1)}, ${figure(humidity_pct, 0)} % humidity`,
      `density altitude ${units.height(altitude)}`,
    )
  } else words.push('air not noted')
  try {
    const fuel = fuelInTank(car?.fuel ?? {})
    words.push(`${escapeHtml(fuel.name)}, stoichiometric ${figure(fuel.stoichiometricRatio, 2)}`)
  } catch (error) {
    if (!(error instanceof RangeError)) throw error
    words.push('fuel not known')
  }
  const bad = result.integrity.bad_checksum + result.integrity.missing_samples
  words.push(bad === 0 ? 'no line lost' : `${bad} lines or samples lost`)
  return words.join(' · ')
}

/** Warnings of the run in one line; the lean one first of all. */
function warningLine(result: AnalysisResult, unit: MixtureUnit): string {
  const warnings = result.alarms.filter((alarm) => alarm.priority === 'warning')
  if (warnings.length === 0) return ''
  const lean = warnings.filter((alarm) => alarm.code === 'lean_under_load')
  const worst = Math.max(...lean.map((alarm) => alarm.worst ?? Number.NEGATIVE_INFINITY))
  const size = Number.isFinite(worst) ? `, at worst ${mixtureWords(worst, unit)}` : ''
  const codes = [...new Set([...lean, ...warnings].map((alarm) => alarm.code.replaceAll('_', ' ')))]
  const danger = lean.length > 0 ? ' Lean under load destroys pistons.' : ''
  return `<p class="warn">Warned ${warnings.length} time${warnings.length === 1 ? '' : 's'} during this run (${escapeHtml(codes.join(', '))}${size}).${danger}</p>`
}

function circuitTable(rows: readonly CircuitVerdict[], unit: MixtureUnit): string {
  const range = gateRangeFor(rows.filter(hasPosts))
  const body = rows.map((row) => {
    const side = row.verdict === 'rich' || row.verdict === 'lean' ? ` ${row.verdict}` : ''
    const half = doubtOf(row, unit)
    const doubt = half ? `± ${half}` : row.missing ? '' : '&nbsp;'
    const missing = row.missing ? escapeHtml(row.missing) : doubt
    const count = row.counted ?? (row.seconds > 0 ? `${Math.round(row.seconds)} s` : '0 s')
    return (
      `<tr><th scope="row">${escapeHtml(row.name)}<span>${escapeHtml(row.detail)}</span></th>` +
      `<td class="picture">${gateSvg(row, unit, range)}</td>` +
      `<td class="word${side}">${escapeHtml(verdictIn(row, unit))}<span>${missing}</span></td>` +
      `<td class="count">${escapeHtml(count)}</td></tr>`
    )
  })
  return (
    '<table class="circuits"><tbody>' +
    `${body.join('')}</tbody></table>` +
    `<p class="quiet">Between the posts: on target. Thick hatched block: too much fuel. Thin dotted line: too little. Full scale ${unit.symbol} ± ${distanceWords(range, unit)} about target, at home air; the cross-mark is the estimate with its 95 % interval.</p>`
  )
}

function nextChange(advice: AdviceResult, units: ReportUnits): string {
  const { next } = advice
  const summary = String(advice.summary ?? '')
  const big = next ? changeHead(next) : advice.done ? 'Change nothing' : 'Not yet'
  const reasons = (next ? next.because : [summary]).map((text) => `<p>${escapeHtml(text)}</p>`)
  // What the sentence above has said is not said twice.
  const warnings = (advice.warnings ?? [])
    .filter((text) => next || !summary.includes(text))
    .map((text) => `<p class="caution">${escapeHtml(text)}</p>`)
  const also = advice.also.filter((change) => !isTypedIn(change.part))
  const later = also
    .map((change) => `${partWord(change.part)} ${change.from.label} → ${change.to.label}`)
    .join(', ')
  return (
    `<section class="next"><h2>Next change</h2><p class="big">${escapeHtml(big)}</p>` +
    `${reasons.join('')}${warnings.join('')}` +
    `${later ? `<p class="quiet">Later, if it holds: ${escapeHtml(later)}.</p>` : ''}</section>${factorsSection(advice, units)}`
  )
}

/** `main jet 71 → 69`; of a fuel table only what is typed in. */
function changeHead({ part, from, to }: Change): string {
  if (isTypedIn(part)) return typedWords(part, to)
  return from.turns !== undefined && to.turns !== undefined
    ? `${partWord(part)} ${sizesWord(from, to)}`
    : `${partWord(part)} ${from.label} → ${to.label}`
}

/** The correction factors of an injection by state; its cells are the map's, λ over target. */
function factorsSection(advice: AdviceResult, units: ReportUnits): string {
  const factors = advice.factors as InjectionFactors | undefined
  const rows = Object.entries(factors?.states ?? {}).map(
    ([state, entry]) =>
      `<tr><th scope="row">${escapeHtml(stateWords[state] ?? state)}</th><td class="number">× ${figure(entry?.factor, 3)}</td><td class="number">${entry?.seconds ?? 0} s</td></tr>`,
  )
  const row = (name: string, words: string) =>
    `<tr><th scope="row">${escapeHtml(name)}</th><td class="number">${escapeHtml(words)}</td><td></td></tr>`
  if (factors?.acceleration) rows.push(row(partWord(ACCELERATION), accelerationLabel(factors.acceleration)))
  for (const { coolant_C, factor } of factors?.cold ?? [])
    rows.push(row(`cold, coolant ${units.text('temperature', coolant_C)}`, `× ${figure(factor, 2)}`))
  if (rows.length === 0) return ''
  return `<section><h2>Correction factors</h2><table class="plain"><tbody>${rows.join('')}</tbody></table><p class="quiet">Fuel now times this factor. A cell's own factor is its λ in the map over its target.</p></section>`
}

function partsTable(fitted: Fitted, boreUnit: BoreUnit | undefined): string {
  const names = Object.keys(fitted)
  if (names.length === 0) return '<p class="quiet">Not noted.</p>'
  const rows = names.map(
    (name) =>
      `<tr><th scope="row">${escapeHtml(partWord(name))}</th><td>${escapeHtml(sizeWord(fitted[name], boreUnit))}</td></tr>`,
  )
  return `<table class="plain"><tbody>${rows.join('')}</tbody></table>`
}

/** Names of the correction standards as they are printed. */
const correctionWord: Readonly<Record<string, string>> = {
  sae_j1349: 'SAE J1349',
  iso_1585: 'ISO 1585',
  din_70020: 'DIN 70020',
  std: 'standard air',
}

function numbersTable(result: AnalysisResult, units: ReportUnits): string {
  const tips = summariseTipIns(result.transients)
  const { scorecard, warm_up, pull_repeat: repeat } = result
  const power = result.pulls.map((pull) => pull.peak_kW).filter((value): value is number => value !== null)
  const correction = result.pulls.find((pull) => pull.correction)?.correction
  const lines: [string, string][] = [
    [
      'time on target',
      // Without load nobody knows which target a moment had.
      scorecard.on_target_share === null || result.map.load_channel === 'none'
        ? '–'
        : `${Math.round(100 * scorecard.on_target_share)} %`,
    ],
    ['tip-ins, of these with a stumble', `${tips.tip_ins}, ${tips.stumbles}`],
    [
      'pulls, best at the wheels',
      power.length === 0
        ? `${result.pulls.length}`
        : `${result.pulls.length}, ${units.text('power', Math.max(...power))}${correction ? ` (${correctionWord[correction] ?? correction})` : ''}${repeat ? `; mean of ${repeat.pulls} like ones ${units.bare('power', repeat.peak_kW)} ± ${units.text('power', repeat.half_band_kW, 1)}` : ''}`,
    ],
  ]
  if (warm_up) {
    lines.push(
      ['cranking, stalls', `${figure(warm_up.crank_s, 1)} s, ${warm_up.stalls}`],
      [
        'idles by itself after, at',
        `${figure(warm_up.self_idle_s, 0)} s, ${units.text('temperature', warm_up.self_idle_coolant_C)}`,
      ],
    )
  }
  if (scorecard.economy !== null) lines.push(['fuel', units.text('economy', scorecard.economy)])
  const lost = Object.values(result.trust.untrusted_s).reduce((sum, value) => sum + value, 0)
  lines.push(['not trusted and left out', duration(lost)])
  const rows = lines.map(
    ([name, value]) =>
      `<tr><th scope="row">${escapeHtml(name)}</th><td class="number">${escapeHtml(value)}</td></tr>`,
  )
  return `<table class="plain"><tbody>${rows.join('')}</tbody></table>`
}

function notesSection(result: AnalysisResult, advice: AdviceResult | undefined): string {
  const entries = [
    ...(result.run.marks ?? []).map((mark) => ({ t: mark.t_s, text: mark.label || 'mark' })),
    ...(result.run.notes ?? []).map((note) => ({ t: note.t_s, text: note.text })),
  ].sort((a, b) => a.t - b.t)
  // A hint that the next change already warns of is not said twice.
  const said = new Set(advice?.warnings ?? [])
  const hints = result.trust.hints
    .filter((hint) => !said.has(hint.text) && !(advice?.banks && hint.code === 'banks_differ'))
    .map((hint) => `<p>${escapeHtml(hint.text)}</p>`)
    .join('')
  if (entries.length === 0 && hints === '') return ''
  const rows = entries
    .map(
      (entry) =>
        `<tr><td>${Math.floor(entry.t / 60)}:${String(Math.floor(Math.max(0, entry.t % 60))).padStart(2, '0')}</td><td>${escapeHtml(entry.text)}</td></tr>`,
    )
    .join('')
  return `<section><h2>Notes</h2>${hints}${rows ? `<table class="plain times"><tbody>${rows}</tbody></table>` : ''}</section>`
}

function footer(rows: readonly CircuitVerdict[], advice: AdviceResult | undefined): string {
  const texts = [...reportCautions]
  if (rows.some((row) => row.verdict === 'lean')) texts.push(...leanReadingCautions)
  if (Array.isArray(advice?.cautions)) texts.push(...advice.cautions)
  return `<footer>${texts.map((text) => `<p>${escapeHtml(text)}</p>`).join('')}</footer>`
}
