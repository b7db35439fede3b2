import { type Command, Option } from 'commander'
import { analyserClasses, estimateLambdaFromExhaustGas } from '../../core/fuel/exhaustGas.ts'
import { type FuelId, fuels } from '../../core/fuel/fuels.ts'
import { CommandFailure, print } from './commandVoice.ts'

/** Half-width of a 95 % interval in standard uncertainties (normal distribution). */
const coverage95 = 1.96

interface GasOptions {
  co: string
  co2: string
  o2: string
  hc: string
  nox: string
  fuel?: FuelId
  class: keyof typeof analyserClasses
  json?: boolean
}

/** Adds `floatbowl gas`: λ from a workshop gas analyser, as a cross-check of the wideband reading. */
export function registerGas(program: Command): void {
  program
    .command('gas')
    .description(
      "λ from a workshop gas analyser's figures (Brettschneider), a cross-check of the wideband sensor",
    )
    .requiredOption('--co <pct>', 'carbon monoxide, % by volume, dry')
    .requiredOption('--co2 <pct>', 'carbon dioxide, %')
    .requiredOption('--o2 <pct>', 'oxygen, %')
    .option('--hc <ppm>', 'hydrocarbons as hexane, ppm', '0')
    .option('--nox <ppm>', 'nitrogen oxides, ppm', '0')
    .addOption(
      new Option('--fuel <id>', 'fuel in the tank, default the petrol of inspection work').choices(
        Object.keys(fuels),
      ),
    )
    .addOption(
      new Option('--class <class>', "the analyser's accuracy class")
        .choices(Object.keys(analyserClasses))
        .default('I'),
    )
    .option('--json', 'print a JSON object')
    .action(async (options: GasOptions) => print(answer(options)))
}

function answer(options: GasOptions): string {
  const gas = {
    coPct: figure('--co', options.co),
    co2Pct: figure('--co2', options.co2),
    hcPpm: figure('--hc', options.hc),
    o2Pct: figure('--o2', options.o2),
    noxPpm: figure('--nox', options.nox),
  }
  const estimate = estimated(gas, options)
  if (Number.isNaN(estimate.lambda)) {
    throw new CommandFailure(
      'no λ from gas without carbon: is the probe in the tail pipe and the engine running?',
    )
  }
  const half = coverage95 * estimate.standardUncertainty
  if (options.json) {
    return JSON.stringify({
      lambda: round(estimate.lambda),
      standard_uncertainty: round(estimate.standardUncertainty),
      ci95: [round(estimate.lambda - half), round(estimate.lambda + half)],
    })
  }
  return (
    `λ ${estimate.lambda.toFixed(3)} ± ${half.toFixed(3)} (95 %, analyser class ${options.class})\n` +
    'Compare with the wideband reading at the same moment, engine hot, no air injection. A leak in the exhaust reads lean in both.'
  )
}

function estimated(gas: Parameters<typeof estimateLambdaFromExhaustGas>[0], options: GasOptions) {
  try {
    return estimateLambdaFromExhaustGas(gas, options.fuel ? fuels[options.fuel] : undefined, {
      tolerances: analyserClasses[options.class],
    })
  } catch (error) {
    throw new CommandFailure(error instanceof Error ? error.message : String(error), 2)
  }
}

function figure(option: string, text: string): number {
  const value = Number(text.replace(',', '.'))
  if (text.trim() === '' || !Number.isFinite(value)) {
    throw new CommandFailure(`${option} is no number: ${text}`, 2)
  }
  return value
}

function round(value: number): number {
  return Number(value.toFixed(4))
}
