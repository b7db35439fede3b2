import { mkdirSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { Bridge } from '../../bridge/bridge.ts'
import { createClock } from '../../bridge/clock.ts'
import { createBridgeServer } from '../../bridge/http/server.ts'
import { silentLogger } from '../../bridge/logger.ts'
import { portSetup } from '../../bridge/portSetup.ts'
import { createBoardLines } from '../../bridge/source/decoders.ts'
import { createSimulatorSource } from '../../bridge/source/simulatorSource.ts'
import { createLiveSimulator, findCar, type SimulateOptions, simulateRun } from '../../simulator/index.ts'

export interface MadeRun extends Omit<SimulateOptions, 'car'> {
  car: string
  /** ISO 8601, also the file's name. */
  at: string
}

export interface BridgeFixture {
  readonly url: string
  readonly dataDir: string
  /** Writes a run into the data directory; returns its id. */
  addRun(options: MadeRun): string
  /** Writes what a car has fitted and in its box. */
  setParts(car: string, parts: unknown): Promise<void>
  close(): Promise<void>
}

const bytesOf = new Map<string, Uint8Array>()

/** Bytes of a simulated run; each is made once. */
export function runBytes({ car, ...options }: MadeRun): Uint8Array {
  const key = JSON.stringify({ car, ...options })
  const known = bytesOf.get(key)
  if (known) return known
  const { bytes } = simulateRun({ car: findCar(car), ...options })
  bytesOf.set(key, bytes)
  return bytes
}

export interface BridgeOptions {
  sim?: string
  parameters?: SimulateOptions['parameters']
  device?: string
  port?: number
  dataDir?: string
  lan?: boolean
}

/** A real bridge in this process, on a port of its own, with its own data directory. */
export async function startBridge(options: BridgeOptions = {}): Promise<BridgeFixture> {
  const dataDir = options.dataDir ?? mkdtempSync(join(tmpdir(), 'floatbowl-browser-'))
  const clock = createClock()
  const { sim, parameters, device } = options
  const bridge = new Bridge({
    dataDir,
    version: 'test',
    clock,
    logger: silentLogger,
    sources: sim
      ? [
          {
            source: createSimulatorSource({
              name: `simulator ${sim}`,
              clock,
              createSimulator: async () => createLiveSimulator({ car: findCar(sim), parameters }),
            }),
            createDecoder: createBoardLines,
            unreadableText: '',
            silence: { reopenS: 0 },
          },
        ]
      : device
        ? [await portSetup(device, { dataDir, baud: undefined }, clock, silentLogger)]
        : [],
    car: sim ?? 'marigold',
    forceCar: true,
    autoRecord: false,
  })
  const server = await createBridgeServer({
    bridge,
    lan: options.lan ?? false,
    webDir: process.env.FLOATBOWL_WEB_DIR,
  })
  const port = await server.listen('127.0.0.1', options.port ?? 0)
  await bridge.start()
  const url = `http://127.0.0.1:${port}`
  return {
    url,
    dataDir,
    addRun(made) {
      const session = made.at.slice(0, 10)
      const file = `${made.at.replace(/[-:]/g, '').replace(/\.\d+/, '')}.capture`
      mkdirSync(join(dataDir, made.car, session), { recursive: true })
      writeFileSync(join(dataDir, made.car, session, file), runBytes(made))
      return `${made.car}/${session}/${file}`
    },
    async setParts(car, parts) {
      const answer = await fetch(`${url}/api/cars/${car}/parts`, {
        method: 'PUT',
        headers: { 'content-type': 'application/json' },
        body: JSON.stringify(parts),
      })
      if (!answer.ok) throw new Error(`parts were refused: ${await answer.text()}`)
    },
    async close() {
      await bridge.stop('the test ends')
      await server.close()
      if (!options.dataDir) rmSync(dataDir, { recursive: true, force: true })
    },
  }
}

/** Route of a run's page. */
export const runRoute = (id: string) => `#/run/${id.split('/').map(encodeURIComponent).join('/')}`
