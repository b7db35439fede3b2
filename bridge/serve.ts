import { basename, dirname } from 'node:path'
import packageJson from '../package.json' with { type: 'json' }
import type { SimCar } from '../simulator/simCar.ts'
import { Bridge, type SourceSetup } from './bridge.ts'
import { BridgeError, errorText, fileProblem } from './bridgeError.ts'
import { CommandFailure } from './cli/commandVoice.ts'
import type { ServeSettings } from './cli/serve.ts'
import { type Clock, createClock } from './clock.ts'
import { createBridgeServer } from './http/server.ts'
import { createLineLogger, type Logger } from './logger.ts'
import { makeFolder } from './makeFolder.ts'
import { portSetup, receiverSetup } from './portSetup.ts'
import { boardReading, recordedReading } from './source/lineReading.ts'
import { createReplaySources, findReplaySources } from './source/replaySource.ts'
import { createSimulatorSource } from './source/simulatorSource.ts'
import type { CarStore } from './store/carStore.ts'
import { carIdPattern } from './store/runId.ts'

/** Car id when nothing else names one. */
const unnamedCar = 'my-car'

interface Voice {
  print(text: string): Promise<void>
  say(text: string): void
}

/** Runs the bridge until a signal ends it. @returns true when it was Ctrl-C */
export async function serve(settings: ServeSettings, { print, say }: Voice): Promise<boolean> {
  const clock = createClock()
  const logger = createLineLogger(say)
  const ended = waitForSignal(say)
  await makeDataDir(settings.dataDir)
  const later: { bridge?: Bridge } = {}
  const sources = await createSources(settings, clock, logger, later)
  const isReal = settings.source?.kind === 'port'
  const bridge = new Bridge({
    dataDir: settings.dataDir,
    version: packageJson.version,
    clock,
    logger,
    sources,
    car: carOf(settings),
    forceCar: settings.car !== undefined || settings.source?.kind === 'sim',
    record: settings.record,
    autoRecord: (settings.autoRecord ?? isReal) ? {} : false,
  })
  later.bridge = bridge
  const authority = settings.https
    ? await (await import('./security/certificates.ts')).openLocalAuthority(settings.dataDir, clock.wallMs())
    : undefined
  const server = await createBridgeServer({ bridge, lan: settings.lan, authority })
  const port = await server.listen(settings.host, settings.port).catch(async (error: unknown) => {
    await bridge.stop()
    await server.close()
    throw error
  })
  if (settings.source?.kind === 'sim') await seedSimulatedCar(settings.source.name, bridge.cars)
  await bridge.start()
  const host = settings.lan || settings.host === 'localhost' ? '127.0.0.1' : settings.host
  await print(`http://${host.includes(':') ? `[${host}]` : host}:${port}/`)
  logger.info(`data in ${settings.dataDir}`)
  if (settings.source === undefined)
    logger.info('no source given: start with --port PATH, --sim CAR or --replay RUN')
  if (settings.lan) {
    const { showPairing } = await import('./cli/showPairing.ts')
    await showPairing(server.context, say)
  }
  const interrupted = await ended
  await bridge.stop(interrupted ? 'interrupted' : 'the bridge was ended')
  await server.close()
  return interrupted
}

/** Resolves at the first signal; a second one ends the process at once. */
function waitForSignal(say: (text: string) => void): Promise<boolean> {
  return new Promise((resolveEnd) => {
    let told = false
    const end = (signal: NodeJS.Signals) => {
      if (told) process.exit(signal === 'SIGINT' ? 130 : 143)
      told = true
      say('ending: closing the recording')
      resolveEnd(signal === 'SIGINT')
    }
    process.on('SIGINT', end)
    process.on('SIGTERM', end)
    process.on('SIGHUP', end)
  })
}

async function makeDataDir(path: string): Promise<void> {
  try {
    await makeFolder(path)
  } catch (error) {
    throw new CommandFailure(
      `cannot make the data directory ${path} (${errorText(error)}): choose another with --data DIR`,
    )
  }
}

function carOf({ car, source }: ServeSettings): string {
  if (car !== undefined && !carIdPattern.test(car)) {
    throw new CommandFailure(`invalid --car: ${car} (expected small letters, digits, _ and -)`, 2)
  }
  if (car !== undefined) return car
  if (source?.kind === 'sim') return source.name
  if (source?.kind === 'replay') {
    // A run lies in <car>/<session>/.
    const name = basename(dirname(dirname(source.name)))
    if (carIdPattern.test(name)) return name
  }
  return unnamedCar
}

async function createSources(
  settings: ServeSettings,
  clock: Clock,
  logger: Logger,
  later: { bridge?: Bridge },
): Promise<SourceSetup[]> {
  const { source } = settings
  const setups: SourceSetup[] = []
  if (source?.kind === 'sim') setups.push(await simulatorSetup(source.name, clock))
  else if (source?.kind === 'replay') setups.push(...(await replaySetups(source.name, clock, later)))
  else if (source) setups.push(await portSetup(source.name, settings, clock, logger))
  if (settings.gpsPath) {
    setups.push(await receiverSetup(settings.gpsPath, clock, logger))
  }
  return setups
}

async function simulatorSetup(name: string, clock: Clock): Promise<SourceSetup> {
  const car = await findSimulatedCar(name)
  return {
    source: createSimulatorSource({
      name: `simulator ${name}`,
      clock,
      createSimulator: async () => {
        const { createLiveSimulator } = await import('../simulator/live.ts')
        return createLiveSimulator({ car })
      },
    }),
    ...boardReading(),
    silence: { reopenS: 0 },
  }
}

async function findSimulatedCar(name: string): Promise<SimCar> {
  const { findCar } = await import('../simulator/cars.ts')
  try {
    return findCar(name)
  } catch (error) {
    throw new CommandFailure(errorText(error), 2)
  }
}

/** A simulated car brings its profile, its parts and its box, unless the owner has changed them before. */
async function seedSimulatedCar(name: string, store: CarStore): Promise<void> {
  if ((await store.ids()).includes(name)) return
  const { profile, right, box } = await findSimulatedCar(name)
  const files = store.car(name)
  await files.profile.update((content) => Object.assign(content, profile, { id: name }))
  await files.parts.update((content) => Object.assign(content, { fitted: right, box }))
}

async function replaySetups(path: string, clock: Clock, later: { bridge?: Bridge }): Promise<SourceSetup[]> {
  const found = await findReplaySources(path).catch((error: unknown) => {
    throw new CommandFailure(error instanceof BridgeError ? error.message : fileProblem(path, error))
  })
  const { numbers } = found
  const sources = createReplaySources(numbers, {
    path,
    clock,
    onRecord: (record) => {
      if (record.type === 'mark') later.bridge?.mark(record.label)
      else later.bridge?.record(record)
    },
    onReadAs: (entry) => {
      const place = numbers.indexOf(entry.source)
      if (place >= 0) later.bridge?.readAs(place, recordedReading(entry.source, [entry]))
    },
  })
  return sources.map((source, i) => ({
    source,
    ...recordedReading(numbers[i], found.sources),
    silence: { reopenS: 0 },
  }))
}
