import { Command } from 'commander'
import { afterEach, expect, it, vi } from 'vitest'
import { registerGas } from '../../bridge/cli/gas.ts'

async function gas(...words: string[]): Promise<string> {
  let printed = ''
  vi.spyOn(process.stdout, 'write').mockImplementation(((text: string, done?: () => void) => {
    printed += text
    done?.()
    return true
  }) as typeof process.stdout.write)
  const program = new Command().exitOverride().configureOutput({ writeErr: () => {} })
  registerGas(program)
  for (const command of program.commands) command.exitOverride().configureOutput({ writeErr: () => {} })
  await program.parseAsync(['gas', ...words], { from: 'user' })
  return printed
}

afterEach(() => {
  vi.restoreAllMocks()
})

it('gas gives λ 1 for stoichiometric exhaust (no CO, no oxygen) with an interval around it', async () => {
  const answer = JSON.parse(await gas('--co', '0', '--co2', '15', '--o2', '0', '--json'))
  expect(answer.lambda).toBeCloseTo(1, 3)
  expect(answer.ci95[0]).toBeLessThan(1)
  expect(answer.ci95[1]).toBeGreaterThan(1)
})

it('gas tells rich from lean, takes a decimal comma, and widens with the class of the analyser', async () => {
  const rich = JSON.parse(await gas('--co', '4,0', '--co2', '12', '--o2', '0.3', '--hc', '200', '--json'))
  const lean = JSON.parse(await gas('--co', '0.1', '--co2', '13', '--o2', '2.5', '--json'))
  const coarse = JSON.parse(
    await gas('--co', '4,0', '--co2', '12', '--o2', '0.3', '--hc', '200', '--class', 'II', '--json'),
  )
  expect(rich.lambda).toBeLessThan(0.95)
  expect(lean.lambda).toBeGreaterThan(1.05)
  expect(coarse.standard_uncertainty).toBeGreaterThan(rich.standard_uncertainty)
})

it('gas says what is wrong with figures that are none, do not add up, or hold no carbon', async () => {
  await expect(gas('--co', 'x', '--co2', '15', '--o2', '0')).rejects.toThrow('--co is no number: x')
  await expect(gas('--co', '60', '--co2', '50', '--o2', '0')).rejects.toThrow('110')
  await expect(gas('--co', '0', '--co2', '0', '--o2', '20.9')).rejects.toThrow('without carbon')
})
