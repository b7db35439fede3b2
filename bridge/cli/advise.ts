import type { Command } from 'commander'
import type { AdviceResult, Change } from '../../core/contract/advice.ts'
import type { Part } from '../../core/contract/car.ts'
import { partWord } from '../../core/tuning/adviceText.ts'
import type { InjectionFactors } from '../../core/tuning/injectionFactors.ts'
import { ACCELERATION, accelerationLabel } from '../../core/tuning/injectionNumbers.ts'
import { sizesWord } from '../../core/tuning/sizeWords.ts'
import { formatNumber, sentenceStart } from '../../core/units/format.ts'
import { lambdaUnit, type MixtureUnit, mixtureRange } from '../../core/units/mixtureUnit.ts'
import { carsOfRuns } from './carsOfRuns.ts'
import { CommandFailure, print } from './commandVoice.ts'
import { formatTable } from './compare.ts'
import { boreOption, checkedOption, mixtureOption, shownMixture } from './unitOptions.ts'

interface Flags {
  json?: boolean
  box: string
  car?: string
  mixture?: string
  bore?: string
  checked?: string[]
}

export function registerAdvise(program: Command): void {
  program
    .command('advise')
    .description('the next change, from this run and earlier ones')
    .argument('<run...>', 'capture files; they are taken in the order of their start times')
    .requiredOption(
      '--box <file>',
      'parts at hand, JSON: {"box": {"main_jet": [{"label": "70", "bore_mm": 1.8}, …]}}; a size is bore_mm, bore_in, bore_thou, drill, flow, turns, opens_inHg, volume_ml, or of a rod cruise_mm and power_mm',
    )
    .option('--json', 'one JSON object')
    .option('--car <file>', 'car profile in place of the one in the runs')
    .addOption(mixtureOption())
    .addOption(boreOption())
    .addOption(checkedOption())
    .action(async (paths: string[], flags: Flags) => {
      const { analyseRunFiles, readCarFile, readPartsFile } = await import('./runParts.ts')
      const { advise } = await import('../../core/tuning/advise.ts')
      // Cheap mistakes first: a wrong box is told before any run is read.
      const parts = await readPartsFile(flags.box)
      const car = flags.car ? await readCarFile(flags.car) : undefined
      const runs = await analyseRunFiles(paths, car)
      const cars = carsOfRuns(runs)
      if (!car && cars.length > 1) {
        throw new CommandFailure(
          `these runs are of several cars (${cars.join(', ')}): give the runs of one`,
          2,
        )
      }
      let advice: AdviceResult
      try {
        advice = advise(runs, parts, {
          ...(car ? { car } : {}),
          ...(flags.mixture ? { mixtureUnit: flags.mixture } : {}),
          ...(flags.bore ? { boreUnit: flags.bore } : {}),
          ...(flags.checked ? { checked: flags.checked } : {}),
        })
      } catch (error) {
        if (error instanceof RangeError) throw new CommandFailure(error.message, 2)
        throw error
      }
      await print(
        flags.json ? JSON.stringify(advice) : formatAdvice(advice, shownMixture(flags.mixture, car, runs)),
      )
    })
}

/** Advice for people: the change, the reasons, the states, the cautions. */
export function formatAdvice(advice: AdviceResult, unit: MixtureUnit = lambdaUnit): string {
  const level = (lambda: number | null | undefined, finer: number) =>
    formatNumber(unit.of(lambda ?? Number.NaN), { decimals: unit.decimals + finer })
  const summary = String(advice.summary)
  const lines = [summary]
  if (advice.next) lines.push('', ...formatChange(advice.next))
  for (const change of advice.also) {
    lines.push('', `Later: ${partWord(change.part)} ${sizesOf(change)}`)
  }
  for (const need of advice.needs ?? []) {
    // What no driving tells has been said whole.
    if (need.channel) continue
    const why = need.why && !summary.includes(String(need.why)) ? `: ${need.why}` : ''
    lines.push(`  ${need.seconds} s of ${need.state.replaceAll('_', ' ')}${why}`)
  }
  const isTyped = advice.metering === 'throttle_body_injection'
  const rows = [['state', unit.symbol, '95 %', 'target', 'verdict']]
  for (const [state, entry] of Object.entries(advice.states)) {
    rows.push([
      state === 'pump' && isTyped ? 'acceleration' : state.replaceAll('_', ' '),
      level(entry.lambda, 1),
      entry.ci95
        ? mixtureRange(entry.ci95, unit)
            .map((value) => formatNumber(value, { decimals: unit.decimals + 1 }))
            .join(' … ')
        : '–',
      level(entry.target, 0),
      entry.verdict.replaceAll('_', ' '),
    ])
  }
  lines.push('', ...formatTable(rows))
  if (advice.factors) lines.push('', ...formatFactors(advice.factors as InjectionFactors))
  for (const warning of advice.warnings ?? []) {
    if (!summary.includes(warning)) lines.push('', `Caution: ${warning}`)
  }
  const before = advice.next ? 'Before you open it' : 'Before you drive'
  if (Array.isArray(advice.cautions)) lines.push('', ...advice.cautions.map((text) => `${before}: ${text}`))
  return lines.join('\n')
}

function formatFactors(factors: InjectionFactors): string[] {
  const { states, cells, rpm_edges, load_edges, acceleration, cold } = factors
  const rows = [['state', 'fuel ×', 'percent', 'seconds']]
  for (const [state, entry] of Object.entries(states)) {
    if (!entry) continue
    const { factor, percent, seconds } = entry
    rows.push([state.replaceAll('_', ' '), factor.toFixed(3), percent.toFixed(1), String(seconds)])
  }
  const lines = formatTable(rows)
  if (acceleration) lines.push(`${partWord(ACCELERATION)} ${accelerationLabel(acceleration)}`)
  if (cold.length > 0) {
    const byCoolant = cold.map((row) => [
      String(row.coolant_C),
      row.factor.toFixed(3),
      row.percent.toFixed(1),
    ])
    lines.push('', 'fuel × while cold', ...formatTable([['coolant °C', 'fuel ×', 'percent'], ...byCoolant]))
  }
  if (cells.every((row) => row.every((cell) => cell === null))) return lines
  const table = [['load', ...rpm_edges.slice(0, -1).map((rpm) => String(Math.round(rpm)))]]
  for (let row = cells.length - 1; row >= 0; row--) {
    table.push([load_edges[row].toFixed(2), ...cells[row].map((cell) => cell?.toFixed(2) ?? '·')])
  }
  return [...lines, '', 'fuel × by load and rpm', ...formatTable(table)]
}

/** Sizes in the words that the advice gives them. */
const sizesOf = ({ sizes, from, to }: Change) =>
  typeof sizes === 'string' ? sizes : sizesWord(from as Part, to as Part)

function formatChange(change: Change): string[] {
  return [
    `${sentenceStart(partWord(change.part))} ${sizesOf(change)}, ${change.direction}`,
    ...change.because.map((reason) => `  ${reason}`),
  ]
}
