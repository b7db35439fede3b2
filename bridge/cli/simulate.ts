import { readFile, writeFile } from 'node:fs/promises'
import { type Command, InvalidArgumentError } from 'commander'
import type { SimulateOptions } from '../../simulator/index.ts'
import { writeProblem } from '../bridgeError.ts'
import { CommandFailure, print, say } from './commandVoice.ts'

interface Flags {
  seconds?: number
  seed?: number
  drive?: string
  set: string[]
  out?: string
  pty?: boolean
  tcp?: number
  truth?: string
  parts?: string
  list?: boolean
}

function numberOption(low: number, high: number, whole: boolean): (text: string) => number {
  return (text) => {
    const value = Number(text)
    if (text.trim() === '' || !(value >= low && value <= high) || (whole && !Number.isInteger(value))) {
      throw new InvalidArgumentError(
        `expected ${whole ? 'a whole number' : 'a number'} from ${low} to ${high}`,
      )
    }
    return value
  }
}

const collect = (value: string, before: string[]): string[] => [...before, value]

/** `floatbowl simulate CAR`: makes a run, or plays a board in real time. */
export function registerSimulate(program: Command): void {
  program
    .command('simulate')
    .description('an invented car: a run with its truth, or a board that talks in real time')
    .argument('[car]', 'marigold, juniper, pebble, or random:<number>')
    .option('--seconds <n>', 'end after so many seconds', numberOption(1, 1_000_000, false))
    .option('--seed <n>', 'same seed, same run', numberOption(0, 4_294_967_295, true), 1)
    .option('--drive <name|file>', 'cold_start, good, traffic, highway, pulls, or a JSON file of steps')
    .option('--set <key=value...>', 'change parts or figures; may stand several times', collect, [])
    .option('--out <file>', 'write a capture file')
    .option('--pty', 'talk on a pseudo-terminal, and print its path')
    .option('--tcp <port>', 'talk on this port of 127.0.0.1 (0: a free one)', numberOption(0, 65_535, true))
    .option('--truth <file>', 'write what the sensor cannot see, with --out')
    .option('--parts <file>', "write the car's parts and box, for `advise --box`")
    .option('--list', 'list cars, set-ups and every key of --set')
    .action(async (carName: string | undefined, flags: Flags) => {
      const simulator = await import('../../simulator/index.ts')
      if (flags.list) {
        await print(simulator.describeEverything())
        return
      }
      if (carName === undefined)
        throw new CommandFailure('which car? (marigold, juniper, pebble; --list shows all)', 2)
      const targets = [flags.out, flags.pty, flags.tcp].filter((given) => given !== undefined).length
      if (targets > 1 || (targets === 0 && flags.parts === undefined)) {
        throw new CommandFailure('give one of --out FILE, --pty, --tcp PORT', 2)
      }
      if (flags.truth !== undefined && flags.out === undefined) {
        throw new CommandFailure('--truth needs --out: a live board keeps no history', 2)
      }
      const options = await usage(async (): Promise<SimulateOptions> => {
        const car = simulator.findCar(carName)
        const settings = simulator.parseSettings(car, flags.set)
        const drive = await readDrive(flags.drive, simulator)
        const given = { car, seed: flags.seed, seconds: flags.seconds, drive, ...settings }
        // Wrong names fail here, before anything is opened.
        simulator.resolveRun(given)
        return given
      })
      if (flags.parts !== undefined) {
        await save(flags.parts, `${JSON.stringify(simulator.partsFile(options), null, 2)}\n`)
        if (targets === 0) return
      }
      if (flags.out !== undefined) {
        const { bytes, truth } = await usage(async () => simulator.simulateRun(options))
        await save(flags.out, bytes)
        if (flags.truth !== undefined) await save(flags.truth, simulator.truthToJson(truth))
        say(
          `${flags.out}: ${Math.round(truth.seconds)} s of ${truth.car} (${truth.setup}), drive ${truth.drive}, seed ${truth.seed}`,
        )
        return
      }
      await talkLive(options, flags, simulator)
    })
}

type SimulatorModule = typeof import('../../simulator/index.ts')

async function readDrive(
  name: string | undefined,
  simulator: SimulatorModule,
): Promise<SimulateOptions['drive']> {
  if (name === undefined) return 'good'
  if (simulator.isDriveName(name)) return name as SimulateOptions['drive']
  let text: string
  try {
    text = await readFile(name, 'utf8')
  } catch {
    const near = simulator.nearNames(name, simulator.driveNames)
    throw new RangeError(
      `no drive and no file: ${name} (expected ${(near.length > 0 ? near : simulator.driveNames).join(', ')}, or a JSON file)`,
    )
  }
  let json: unknown
  try {
    json = JSON.parse(text)
  } catch (cause) {
    throw new RangeError(`drive ${name} is no JSON: ${cause instanceof Error ? cause.message : cause}`)
  }
  return simulator.parseDrive(json, name)
}

/** A RangeError is the caller's mistake: exit code 2. */
async function usage<T>(work: () => Promise<T>): Promise<T> {
  try {
    return await work()
  } catch (error) {
    if (error instanceof RangeError) throw new CommandFailure(error.message, 2)
    throw error
  }
}

async function save(path: string, content: string | Uint8Array): Promise<void> {
  try {
    await writeFile(path, content)
  } catch (error) {
    throw new CommandFailure(writeProblem(path, error))
  }
}

async function talkLive(options: SimulateOptions, flags: Flags, simulator: SimulatorModule): Promise<void> {
  const { serveOnPty, serveOnTcp } = await import('../../simulator/pacer.ts')
  const live = await usage(async () =>
    simulator.createLiveSimulator({ ...options, repeat: flags.drive === undefined }),
  )
  let wire: Awaited<ReturnType<typeof serveOnTcp>>
  try {
    wire = flags.pty ? serveOnPty(live, flags.seconds) : await serveOnTcp(live, flags.tcp ?? 0, flags.seconds)
  } catch (error) {
    const code = (error as NodeJS.ErrnoException).code
    const text = error instanceof Error ? error.message : String(error)
    throw new CommandFailure(
      code === 'EADDRINUSE' ? `port ${flags.tcp} is taken: choose another, or 0 for a free one` : text,
    )
  }
  await print(wire.address)
  const stop = (signal?: NodeJS.Signals) => {
    if (signal === 'SIGINT') process.exitCode = 130
    wire.close()
  }
  process.once('SIGINT', stop)
  process.once('SIGTERM', stop)
  await wire.ended
  process.off('SIGINT', stop)
  process.off('SIGTERM', stop)
}
