import { writeFile } from 'node:fs/promises'
import type { Command } from 'commander'
import { writeProblem } from '../bridgeError.ts'
import { CommandFailure, print, say } from './commandVoice.ts'
import { boreOption, chosenUnits, mixtureOption, unitOption } from './unitOptions.ts'

interface Flags {
  out?: string
  box?: string
  car?: string
  mixture?: string
  bore?: string
  unit?: string[]
}

export function registerReport(program: Command): void {
  program
    .command('report')
    .description('printable sheet of a run, one HTML file that needs nothing else')
    .argument('<run>', 'capture file')
    .option('--out <file>', 'where to write it; standard output without')
    .option('--box <file>', 'parts at hand: adds the next change to the sheet')
    .option('--car <file>', 'car profile in place of the one in the run')
    .addOption(mixtureOption())
    .addOption(boreOption())
    .addOption(unitOption())
    .action(async (path: string, flags: Flags) => {
      const { analyseRunFile, readCarFile, readPartsFile } = await import('./runParts.ts')
      const { reportHtml } = await import('../../core/tuning/reportHtml.ts')
      const { reportFontCss } = await import('../export/reportFont.ts')
      const parts = flags.box ? await readPartsFile(flags.box) : undefined
      const car = flags.car ? await readCarFile(flags.car) : undefined
      const analysis = await analyseRunFile(path, car)
      const choice = {
        ...(car ? { car } : {}),
        ...(flags.mixture ? { mixtureUnit: flags.mixture } : {}),
        ...(flags.bore ? { boreUnit: flags.bore } : {}),
      }
      const advice = parts
        ? (await import('../../core/tuning/advise.ts')).advise([analysis], parts, choice)
        : undefined
      const html = reportHtml({
        analysis,
        fontCss: await reportFontCss(),
        units: chosenUnits(flags.unit),
        ...choice,
        ...(advice ? { advice } : {}),
      })
      if (!flags.out) return print(html)
      try {
        await writeFile(flags.out, html)
      } catch (error) {
        throw new CommandFailure(writeProblem(flags.out, error))
      }
      say(`wrote ${flags.out}`)
    })
}
