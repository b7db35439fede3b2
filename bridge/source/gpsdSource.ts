import type { Clock } from '../clock.ts'
import type { Logger } from '../logger.ts'
import { createRawLines } from './rawLines.ts'
import type { RetryDelayOptions } from './retryDelay.ts'
import { openSocketWire, parseNetworkAddress } from './socketWire.ts'
import type { Source } from './source.ts'
import { createWireSource, type WireEvents } from './wireSource.ts'

/** The service's registered port. */
const gpsdPort = 2947
/** JSON requests and answers, one a line (gpsd_json(5)); sentences come between the answers. */
const watchRequest = '?WATCH={"enable":true,"json":false,"nmea":true};\n'
const openBrace = 0x7b
const lineFeed = Uint8Array.of(10)

export interface GpsdSourceOptions {
  /** `gpsd://host[:port]`. */
  address: string
  clock: Clock
  logger: Logger
  retry?: RetryDelayOptions
}

/**
 * A position receiver behind a running gpsd. The service is asked for NMEA sentences, which it makes for receivers that speak another language too: so the
 * recording holds plain sentences, whatever the receiver. The service's own messages are read here and go no further.
 * @throws RangeError for an address that is none
 */
export function createGpsdSource(options: GpsdSourceOptions): Source {
  const { address, logger } = options
  const place = parseNetworkAddress('gpsd', address, gpsdPort)
  return createWireSource({
    ...options,
    name: address,
    canAsk: false,
    openWire(events) {
      const lines = createRawLines((line) => {
        if (line[0] !== openBrace) pass(line, events)
        else {
          const problem = problemOf(line)
          if (problem !== undefined) logger.warn(`${address}: ${problem}`)
        }
      })
      return openSocketWire(
        {
          ...place,
          name: address,
          onConnect: (socket) => socket.write(watchRequest),
          onData: (chunk) => lines.push(chunk, 0),
        },
        events,
      )
    },
  })
}

function pass(line: Uint8Array, events: WireEvents): void {
  events.data(line)
  events.data(lineFeed)
}

/** What a message of the service complains of; undefined for one that is in order. */
function problemOf(line: Uint8Array): string | undefined {
  let message: { class?: unknown; message?: unknown; devices?: unknown }
  try {
    message = JSON.parse(Buffer.from(line).toString('utf8')) as typeof message
  } catch {
    // Long messages come in pieces; none of them is needed.
    return undefined
  }
  if (message.class === 'ERROR') return String(message.message)
  if (message.class === 'DEVICES' && Array.isArray(message.devices) && message.devices.length === 0)
    return 'it has no receiver: plug one in, or name it when gpsd is started'
  return undefined
}
