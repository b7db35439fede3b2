import type { Command } from 'commander'
import type { ComparisonResult } from '../../core/contract/advice.ts'
import { formatNumber } from '../../core/units/format.ts'
import { type MixtureUnit, mixtureStep } from '../../core/units/mixtureUnit.ts'
import { carsOfRuns } from './carsOfRuns.ts'
import { print, say } from './commandVoice.ts'
import { mixtureOption, shownMixture } from './unitOptions.ts'

interface Flags {
  json?: boolean
  car?: string
  mixture?: string
}

export function registerCompare(program: Command): void {
  program
    .command('compare')
    .description('is run B different from A: where, by how much, how sure')
    .argument('<a>', 'capture file of the first run')
    .argument('<b>', 'capture file of the second run')
    .option('--json', 'one JSON object')
    .option('--car <file>', 'car profile in place of the one in the runs')
    .addOption(mixtureOption())
    .action(async (pathA: string, pathB: string, flags: Flags) => {
      const { analyseRunFiles, readCarFile } = await import('./runParts.ts')
      const { compareRuns } = await import('../../core/tuning/compareRuns.ts')
      const car = flags.car ? await readCarFile(flags.car) : undefined
      const [a, b] = await analyseRunFiles([pathA, pathB], car)
      const cars = carsOfRuns([a, b])
      if (!car && cars.length > 1) say(`two cars: A is ${cars[0]}, B is ${cars[1]}`)
      const comparison = compareRuns(a, b, {
        ...(car ? { car } : {}),
        ...(flags.mixture ? { mixtureUnit: flags.mixture } : {}),
      })
      await print(
        flags.json
          ? JSON.stringify(comparison)
          : formatComparison(comparison, shownMixture(flags.mixture, car, [a, b])),
      )
    })
}

/** A comparison for people: the sentence, each state, tip-ins. */
export function formatComparison(comparison: ComparisonResult, unit: MixtureUnit): string {
  const decimals = unit.decimals + 1
  const level = (lambda: number | null | undefined) =>
    formatNumber(unit.of(lambda ?? Number.NaN), { decimals })
  const lines = [String(comparison.text), '']
  const rows = [['state', `${unit.symbol} A`, 'B', 'B − A', '95 %', 'steady s', 'verdict']]
  for (const [state, entry] of Object.entries(comparison.states)) {
    const { lambda_a, lambda_b } = entry as { lambda_a?: number | null; lambda_b?: number | null }
    const step = (lambda: number | null) =>
      formatNumber(mixtureStep(lambda ?? Number.NaN, unit, lambda_a ?? 1), { decimals, isSigned: true })
    rows.push([
      state.replaceAll('_', ' '),
      level(lambda_a),
      level(lambda_b),
      step(entry.difference),
      entry.ci95 === null ? '–' : `${step(entry.ci95[0])} … ${step(entry.ci95[1])}`,
      `${Math.round(entry.seconds_a ?? 0)}, ${Math.round(entry.seconds_b ?? 0)}`,
      entry.verdict.replaceAll('_', ' '),
    ])
  }
  lines.push(...formatTable(rows), '')
  const tips = comparison.transients as Record<'a' | 'b', { tip_ins: number; stumbles: number }>
  lines.push(
    `tip-ins ${tips.a.tip_ins}, ${tips.b.tip_ins}; stumbles ${tips.a.stumbles}, ${tips.b.stumbles}`,
    comparison.air_corrected
      ? `${unit.symbol} at home air`
      : `${unit.symbol} as on the day, no air correction`,
  )
  return lines.join('\n')
}

/** Columns padded to one width each. */
export function formatTable(rows: readonly (readonly string[])[]): string[] {
  const widths = rows[0].map((_, column) => Math.max(...rows.map((row) => row[column].length)))
  return rows.map((row) =>
    row
      .map((cell, column) => cell.padEnd(widths[column]))
      .join('  ')
      .trimEnd(),
  )
}
