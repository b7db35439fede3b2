import { BridgeError, errorText } from '../bridgeError.ts'
import type { Clock } from '../clock.ts'
import type { Logger } from '../logger.ts'
import { readPortFacts } from './portFacts.ts'
import { explainPortProblem } from './portProblem.ts'
import type { RetryDelayOptions } from './retryDelay.ts'
import type { Source } from './source.ts'
import { createWireSource, type Wire, type WireEvents } from './wireSource.ts'

export interface SerialSourceOptions {
  /** Device path, e.g. `/dev/ttyUSB0`, `COM3`, a pseudo-terminal or a link to one. */
  path: string
  /** Baud rate; default 115200. */
  baud?: number
  clock: Clock
  logger: Logger
  canAsk?: boolean
  retry?: RetryDelayOptions
}

/** The board's usual speed: common practice, no source. */
export const defaultBaud = 115_200

/** A serial device. The serial library is loaded on the first opening, so that nothing else needs its native part. */
export function createSerialSource(options: SerialSourceOptions): Source {
  const { path, baud = defaultBaud } = options
  return createWireSource({
    ...options,
    name: path,
    speed: baud,
    openWire: (events, speed) => openSerial(path, speed, events),
  })
}

function openSerial(path: string, baudRate: number, events: WireEvents): Wire {
  type Port = import('serialport').SerialPort
  let port: Port | undefined
  let ended = false
  const end = (error?: unknown) => {
    if (ended) return
    ended = true
    port?.removeAllListeners()
    // The library may still report a failed read of a closing port: without a listener that would end the process.
    port?.on('error', () => {})
    if (error === undefined) events.closed()
    else events.closed(explainPortProblem(path, error, readPortFacts(path)))
  }

  const open = async () => {
    const { SerialPort } = await import('serialport')
    if (ended) return
    const opening = new SerialPort({ path, baudRate, autoOpen: false })
    port = opening
    opening.on('data', (chunk: Buffer) => events.data(chunk))
    opening.on('error', (error: Error) => {
      if (!opening.isOpen) end(error)
    })
    opening.on('close', (error: Error | null) => {
      if (ended) return
      ended = true
      opening.removeAllListeners()
      opening.on('error', () => {})
      const detail = error ? ` (${errorText(error)})` : ''
      events.closed(
        new BridgeError(
          'port_missing',
          `${path} was unplugged or closed${detail}; waiting for it to come back`,
        ),
      )
    })
    opening.open((error) => {
      if (error) end(error)
      else if (ended) opening.close(() => {})
      else events.opened()
    })
  }
  open().catch((error: unknown) => end(error))

  return {
    write(text) {
      port?.write(text)
    },
    setSpeed(baud, failed) {
      // No new opening: that would restart many boards.
      port?.update({ baudRate: baud }, (error) => {
        if (error) failed(error)
      })
    },
    close() {
      ended = true
      const closing = port
      port = undefined
      if (!closing) return Promise.resolve()
      closing.removeAllListeners()
      closing.on('error', () => {})
      if (!closing.isOpen) return Promise.resolve()
      return new Promise((resolve) => closing.close(() => resolve()))
    },
  }
}
