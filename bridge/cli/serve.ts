import { homedir } from 'node:os'
import { join, resolve } from 'node:path'
import type { Command } from 'commander'
import { CommandFailure, print, say } from './commandVoice.ts'

/** Port of the page when `--listen` says nothing. */
export const defaultPort = 4810

export interface ServeFlags {
  port?: string
  sim?: string
  replay?: string
  baud?: string
  map?: string
  gps?: string
  listen?: string
  lan?: boolean
  https?: boolean
  data?: string
  record?: boolean
  autoRecord?: boolean
  car?: string
}

export function registerServe(program: Command): void {
  program
    .command('serve')
    .description('show the live page, record, and answer for runs')
    .option('--port <path>', 'serial device, pseudo-terminal, or tcp://host:port (see `floatbowl ports`)')
    .option('--sim <car>', 'simulated car: marigold, juniper or pebble')
    .option('--replay <run>', 'a recorded run, as if live')
    .option('--baud <n>', 'speed of the serial device (default: found by itself)')
    .option('--map <file>', 'line map (JSON) for a board that speaks another format')
    .option('--gps <path>', 'serial device of a position receiver, or gpsd://host:port')
    .option('--listen <host:port>', `address of the page (default: 127.0.0.1:${defaultPort})`)
    .option('--lan', 'let paired devices on the local network in')
    .option('--https', 'encrypt for the local network, with a certificate authority of your own')
    .option('--data <dir>', 'directory of cars and runs (default: ~/floatbowl)')
    .option('--record', 'record from the start')
    .option('--auto-record', 'record by itself while the engine runs (default with a board)')
    .option('--no-auto-record', 'record only when told to')
    .option('--car <id>', 'car in use')
    .action(async (flags: ServeFlags) => {
      const { serve } = await import('../serve.ts')
      const settings = readFlags(flags)
      const interrupted = await serve(settings, { print, say })
      process.exitCode = interrupted ? 130 : 0
      // The web library and the serial library may hold timers for some seconds; everything of ours is closed.
      setTimeout(() => process.exit(), 500).unref()
    })
}

export interface ServeSettings {
  source: { kind: 'port' | 'sim' | 'replay'; name: string } | undefined
  /** Undefined: it is found. */
  baud: number | undefined
  mapPath?: string
  gpsPath?: string
  host: string
  port: number
  lan: boolean
  https: boolean
  dataDir: string
  record: boolean
  autoRecord: boolean | undefined
  car?: string
}

function readFlags(flags: ServeFlags): ServeSettings {
  const given = (['port', 'sim', 'replay'] as const).filter((name) => flags[name] !== undefined)
  if (given.length > 1) throw new CommandFailure(`give one of --${given.join(', --')}, not several`, 2)
  const kind = given[0]
  const baud = flags.baud === undefined ? undefined : Number(flags.baud)
  if (baud !== undefined && !(Number.isInteger(baud) && baud >= 50 && baud <= 4_000_000)) {
    throw new CommandFailure(`invalid --baud: ${flags.baud} (expected a whole number from 50 to 4000000)`, 2)
  }
  const lan = flags.lan ?? false
  if (flags.https && !lan) throw new CommandFailure('--https is for the local network: add --lan', 2)
  const { host, port } = readListen(flags.listen, lan)
  return {
    source: kind && { kind, name: flags[kind] as string },
    baud,
    mapPath: flags.map && resolve(flags.map),
    gpsPath: flags.gps,
    host,
    port,
    lan,
    https: flags.https ?? false,
    dataDir: resolve(flags.data ?? join(homedir(), 'floatbowl')),
    record: flags.record ?? false,
    autoRecord: flags.autoRecord,
    car: flags.car,
  }
}

function readListen(text: string | undefined, lan: boolean): { host: string; port: number } {
  const loopback = lan ? '0.0.0.0' : '127.0.0.1'
  if (text === undefined) return { host: loopback, port: defaultPort }
  const match = /^(?:(\[[0-9a-fA-F:.]+\]|[^:\s]+):)?(\d{1,5})$/.exec(text)
  const port = Number(match?.[2])
  if (!match || port > 65_535) {
    throw new CommandFailure(
      `invalid --listen: ${text} (expected HOST:PORT, e.g. 127.0.0.1:${defaultPort})`,
      2,
    )
  }
  const host = match[1]?.replace(/^\[|\]$/g, '') ?? loopback
  const isLocal = host === 'localhost' || host === '::1' || /^127\./.test(host)
  if (!isLocal && !lan) {
    throw new CommandFailure(
      `--listen ${text} can be reached by others: add --lan, which lets only paired devices in`,
      2,
    )
  }
  return { host, port }
}
