import type { Command } from 'commander'
import { print, say } from './commandVoice.ts'

export function registerPorts(program: Command): void {
  program
    .command('ports')
    .description('list serial ports, and which speaks what')
    .option('--json', 'one JSON array')
    .option('--no-listen', 'only list, do not open any port')
    .action(async (flags: { json?: boolean; listen?: boolean }) => {
      const { surveyPorts } = await import('../source/surveyPorts.ts')
      const ports = await surveyPorts({ listen: flags.listen ?? true })
      if (flags.json) {
        await print(JSON.stringify(ports))
        return
      }
      if (ports.length === 0) {
        say('no serial port found: plug the board in; on a virtual machine pass the device through')
        return
      }
      for (const { path, description, speaks, problem } of ports) {
        await print(`${path}\t${speaks}${description ? `\t${description}` : ''}`)
        if (problem) say(`  ${problem}`)
      }
    })
}
