import { alarmKind } from '../../core/contract/alarmKinds.ts'
import type { AlarmEntry, AnalysisResult, Mixture } from '../../core/contract/result.ts'
import { startInZone } from '../../core/tuning/reportText.ts'
import { distanceWords, lambdaUnit, type MixtureUnit, mixtureRange } from '../../core/units/mixtureUnit.ts'

/** A result as text for a terminal: the mixture first, then what it rests on. */
export function describeResult(result: AnalysisResult, unit: MixtureUnit = lambdaUnit): string {
  const lines: string[] = [headline(result), '']
  lines.push(...mixtureRows(result.mixture, unit))
  if (result.mixture_2) lines.push('', 'second bank', ...mixtureRows(result.mixture_2, unit))
  lines.push('', ...sections(result, unit))
  return lines.join('\n')
}

function headline({ run }: AnalysisResult): string {
  const words = [run.file, run.title, run.car, run.start && startInZone(run), `${clock(run.seconds)} long`]
  return words.filter((word) => word !== undefined && word !== '').join(' · ')
}

function mixtureRows(mixture: AnalysisResult['mixture'], unit: MixtureUnit): string[] {
  const rows = Object.entries(mixture) as [string, Mixture][]
  if (rows.length === 0) return ['no steady mixture was seen']
  const fine = unit.decimals + 1
  const table = [['state', unit.symbol, '95 %', 'target', 'off', 'in band', 'seconds']]
  for (const [state, m] of rows) {
    table.push([
      state.replace('_', ' '),
      mixtureText(m.lambda_median, unit, fine),
      m.ci95
        ? mixtureRange(m.ci95, unit)
            .map((end) => decimals(end, fine))
            .join(' … ')
        : 'too little',
      mixtureText(m.target, unit, unit.decimals),
      m.error === null
        ? ''
        : `${m.error < 0 ? 'rich' : 'lean'} ${distanceWords(m.error, unit, m.target ?? 1, 1)}`,
      m.inside_share === null ? '' : `${Math.round(100 * m.inside_share)} %`,
      `${decimals(m.seconds, 0)}${m.cold_s === undefined ? '' : `, ${decimals(m.cold_s, 0)} of them cold`}`,
    ])
  }
  const widths = table[0].map((_, column) => Math.max(...table.map((row) => row[column].length)))
  return table.map((row) =>
    row
      .map((cell, column) => cell.padEnd(widths[column]))
      .join('  ')
      .trimEnd(),
  )
}

function sections(result: AnalysisResult, unit: MixtureUnit): string[] {
  const { warm_up, transients, pulls, alarms, trust, integrity, delay, missing } = result
  const lines: string[] = []
  if (warm_up) {
    const idles =
      warm_up.self_idle_s === null
        ? 'did not idle by itself'
        : `idles by itself after ${decimals(warm_up.self_idle_s, 0)} s at ${decimals(warm_up.self_idle_coolant_C, 0)} °C`
    lines.push(
      `warm-up       cranked ${decimals(warm_up.crank_s, 1)} s, ${warm_up.stalls} stalls, ${idles}, choke ${warm_up.choke}`,
    )
  }
  const tipIns = transients.filter(({ kind }) => kind === 'tip_in')
  if (tipIns.length > 0) {
    const patterns = new Map<string, number>()
    for (const { pattern } of tipIns)
      patterns.set(pattern ?? 'unknown', (patterns.get(pattern ?? 'unknown') ?? 0) + 1)
    const told = [...patterns].map(([name, count]) => `${count} ${name.replaceAll('_', ' ')}`).join(', ')
    const stumbles = tipIns.filter(({ stumble }) => stumble === true).length
    lines.push(`tip-ins       ${tipIns.length}: ${told}; ${stumbles} stumbles`)
  }
  for (const pull of pulls) {
    const power =
      pull.peak_kW === null ? '' : `, ${decimals(pull.peak_kW, 1)} kW at ${decimals(pull.peak_at_rpm, 0)} rpm`
    lines.push(
      `pull          ${clock(pull.start_s)}: ${decimals(pull.rpm_from, 0)} to ${decimals(pull.rpm_to, 0)} rpm${power}`,
    )
  }
  lines.push(...alarmRows(alarms, unit))
  for (const hint of trust.hints)
    lines.push(`hint          ${hint.text}${hint.test ? ` Test: ${hint.test}` : ''}`)
  lines.push(
    `delay         ${decimals(delay.a_s, 3)} s + ${decimals(delay.b_s_rpm_kPa, 0)} / (rpm × kPa), from ${delay.events_used} moves`,
  )
  const untrusted = Object.entries(trust.untrusted_s).filter(([, seconds]) => seconds >= 0.5)
  if (untrusted.length > 0) {
    lines.push(
      `left out      ${untrusted.map(([why, seconds]) => `${why.replace('_', ' ')} ${decimals(seconds, 0)} s`).join(', ')}`,
    )
  }
  lines.push(
    `integrity     ${integrity.samples} samples, ${integrity.missing_samples} missing, ${integrity.bad_checksum} damaged lines, ${integrity.gaps.length} gaps${integrity.torn_end ? ', torn end' : ''}`,
  )
  for (const { channel, would_give } of missing)
    lines.push(`without       ${channel}: it would give ${would_give}`)
  return lines
}

/** One line a kind of alarm: a lean drive would fill the screen with the same words. */
function alarmRows(alarms: readonly AlarmEntry[], unit: MixtureUnit): string[] {
  const kinds = new Map<string, AlarmEntry[]>()
  for (const alarm of alarms) kinds.set(alarm.code, [...(kinds.get(alarm.code) ?? []), alarm])
  return [...kinds].map(([code, all]) => {
    const first = all[0]
    const seconds = all.reduce(
      (sum, { start_s, end_s }) => sum + Math.max(0, (end_s ?? start_s) - start_s),
      0,
    )
    const when =
      all.length === 1
        ? `at ${clock(first.start_s)}`
        : `${all.length} times from ${clock(first.start_s)} to ${clock(all[all.length - 1].start_s)}`
    const known = all.map(({ worst }) => worst).filter((worst) => worst !== null)
    const kind = alarmKind(code)
    const worst = known.length > 0 ? (kind?.isLowBad ? Math.min(...known) : Math.max(...known)) : null
    const worstText = kind?.mixture ? mixtureText(worst, unit, unit.decimals + 1) : decimals(worst, 1)
    return `alarm         ${code.replaceAll('_', ' ')} ${when}, ${decimals(seconds, 0)} s in all${worst === null ? '' : `, worst ${worstText}`}`
  })
}

function mixtureText(lambda: number | null, unit: MixtureUnit, digits: number): string {
  return decimals(lambda === null ? null : unit.of(lambda), digits)
}

function decimals(value: number | null, digits: number): string {
  return value === null ? '–' : value.toFixed(digits)
}

function clock(seconds: number): string {
  const whole = Math.round(seconds)
  return `${Math.floor(whole / 60)}:${String(whole % 60).padStart(2, '0')}`
}
