import type { LineMap } from '../core/line/lineMap.ts'
import type { SourceSetup } from './bridge.ts'
import { errorText } from './bridgeError.ts'
import { CommandFailure } from './cli/commandVoice.ts'
import { readMapFile } from './cli/readMapFile.ts'
import type { Clock } from './clock.ts'
import type { Logger } from './logger.ts'
import { boardReading, mappedReading, receiverReading } from './source/lineReading.ts'
import { createSerialSource, defaultBaud } from './source/serialSource.ts'
import type { Source } from './source/source.ts'
import { createTcpSource } from './source/tcpSource.ts'
import { MapStore } from './store/mapStore.ts'
import { type KeptPort, PortStore } from './store/portStore.ts'

/** A position receiver's usual speed (NMEA 0183). */
const gpsBaud = 9600

export interface PortSettings {
  dataDir: string
  /** As the owner said it; undefined: it is found. */
  baud: number | undefined
  /** File of a line map that the owner named. */
  mapPath?: string
}

/** A port as the owner says it is, else as it was found or chosen the last time. */
export async function portSetup(
  path: string,
  settings: PortSettings,
  clock: Clock,
  logger: Logger,
): Promise<SourceSetup> {
  const kept = await new PortStore(settings.dataDir).read(path).catch((error: unknown): KeptPort => {
    logger.warn(errorText(error))
    return {}
  })
  const map = settings.mapPath
    ? await readMapFile(settings.mapPath)
    : await keptMap(path, kept.map, settings.dataDir, logger)
  const { baud } = settings
  return {
    source: openPort(path, baud ?? kept.baud ?? defaultBaud, true, clock, logger),
    ...(map ? mappedReading(map) : boardReading()),
    ...(baud === undefined && { speedSearch: {} }),
    port: path,
  }
}

/** The map that was chosen on the page for this port. */
async function keptMap(
  path: string,
  name: string | undefined,
  dataDir: string,
  logger: Logger,
): Promise<LineMap | undefined> {
  if (name === undefined) return undefined
  try {
    const map = await new MapStore(dataDir).read(name)
    logger.info(
      map ? `${path}: read with the map ${name}, as the last time` : `${path}: the map ${name} is gone`,
    )
    return map
  } catch (error) {
    logger.warn(`${path}: the map ${name} cannot be used: ${errorText(error)}`)
    return undefined
  }
}

/** A receiver on a serial device, or behind a running gpsd. */
export async function receiverSetup(path: string, clock: Clock, logger: Logger): Promise<SourceSetup> {
  const isService = path.startsWith('gpsd:')
  const source = isService
    ? await openService(path, clock, logger)
    : openPort(path, gpsBaud, false, clock, logger)
  return { source, ...receiverReading(), ...(!isService && { speedSearch: {} }) }
}

async function openService(address: string, clock: Clock, logger: Logger): Promise<Source> {
  const { createGpsdSource } = await import('./source/gpsdSource.ts')
  return orUsageFailure(() => createGpsdSource({ address, clock, logger }))
}

function openPort(path: string, baud: number, canAsk: boolean, clock: Clock, logger: Logger): Source {
  return path.startsWith('tcp:')
    ? orUsageFailure(() => createTcpSource({ address: path, canAsk, clock, logger }))
    : createSerialSource({ path, baud, canAsk, clock, logger })
}

function orUsageFailure(make: () => Source): Source {
  try {
    return make()
  } catch (error) {
    throw new CommandFailure(errorText(error), 2)
  }
}
