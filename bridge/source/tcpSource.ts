import type { Clock } from '../clock.ts'
import type { Logger } from '../logger.ts'
import type { RetryDelayOptions } from './retryDelay.ts'
import { openSocketWire, parseNetworkAddress } from './socketWire.ts'
import type { Source } from './source.ts'
import { createWireSource } from './wireSource.ts'

export interface TcpSourceOptions {
  /** `tcp://host:port`. */
  address: string
  clock: Clock
  logger: Logger
  canAsk?: boolean
  retry?: RetryDelayOptions
}

/** A board, or a simulator, behind a network address. @throws RangeError for an address that is none */
export function createTcpSource(options: TcpSourceOptions): Source {
  const { address } = options
  const place = parseNetworkAddress('tcp', address)
  return createWireSource({
    ...options,
    name: address,
    openWire: (events) => openSocketWire({ ...place, name: address }, events),
  })
}
