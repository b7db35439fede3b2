import { createServer, type Server, type Socket } from 'node:net'
import type { LiveSimulator } from './live.ts'
import { openBoardPty } from './pty.ts'

const periodMs = 10
/** Bytes that may wait for a slow reader before newer ones are dropped, as a board's buffer would. */
const mostWaiting = 1 << 16

/** A wire that carries the live simulator in real time. */
export interface PacedWire {
  /** Where to reach it: a device path, or `tcp://host:port`. */
  readonly address: string
  /** Resolves when the time is over or `close` was called. */
  readonly ended: Promise<void>
  close(): void
}

interface End {
  write(bytes: Uint8Array): void
}

function createEnd(): { promise: Promise<void>; resolve: () => void } {
  let resolve = () => {}
  const promise = new Promise<void>((done) => {
    resolve = done
  })
  return { promise, resolve }
}

/** Runs the simulator by the wall clock, gives its bytes to the ends, for so many seconds. */
function pace(live: LiveSimulator, ends: Set<End>, seconds: number, stop: () => void): () => void {
  const startMs = performance.now()
  const timer = setInterval(() => {
    const nowS = (performance.now() - startMs) / 1000
    const bytes = live.advance(Math.min(nowS, seconds))
    if (bytes.length > 0) for (const end of ends) end.write(bytes)
    if (nowS >= seconds || live.done) stop()
  }, periodMs)
  return () => clearInterval(timer)
}

/** Collects command lines that come up the wire. */
function commandReader(live: LiveSimulator): (chunk: Buffer) => void {
  let pending = ''
  return (chunk) => {
    pending = (pending + chunk.toString('latin1')).slice(-200)
    for (let at = pending.search(/[\r\n]/); at >= 0; at = pending.search(/[\r\n]/)) {
      live.command(pending.slice(0, at))
      pending = pending.slice(at + 1)
    }
  }
}

/** The simulated board on a pseudo-terminal. */
export function serveOnPty(live: LiveSimulator, seconds = Number.POSITIVE_INFINITY): PacedWire {
  const pty = openBoardPty()
  const { promise, resolve } = createEnd()
  // A reader that goes away must not end the board.
  pty.master.on('error', () => {})
  pty.master.on('data', commandReader(live))
  let waiting: Uint8Array = new Uint8Array(0)
  const ends = new Set<End>([
    {
      write(bytes) {
        if (waiting.length < mostWaiting) waiting = Buffer.concat([waiting, bytes])
        waiting = waiting.subarray(pty.write(waiting))
      },
    },
  ])
  const close = () => {
    halt()
    pty.close()
    resolve()
  }
  const halt = pace(live, ends, seconds, close)
  return { address: pty.path, ended: promise, close }
}

/** The simulated board on a TCP port of 127.0.0.1; port 0 takes a free one. Late readers hear from now on. */
export async function serveOnTcp(
  live: LiveSimulator,
  port: number,
  seconds = Number.POSITIVE_INFINITY,
): Promise<PacedWire> {
  const { promise, resolve } = createEnd()
  const ends = new Set<End>()
  const sockets = new Set<Socket>()
  const server: Server = createServer((socket) => {
    socket.setNoDelay(true)
    const end: End = {
      write(bytes) {
        if (socket.writableLength < mostWaiting) socket.write(bytes)
      },
    }
    ends.add(end)
    socket.on('data', commandReader(live))
    socket.on('error', () => {})
    socket.on('close', () => ends.delete(end))
    sockets.add(socket)
    socket.on('close', () => sockets.delete(socket))
  })
  await new Promise<void>((listening, failed) => {
    server.once('error', failed)
    server.listen(port, '127.0.0.1', () => {
      server.off('error', failed)
      listening()
    })
  })
  const address = server.address()
  const close = () => {
    halt()
    for (const socket of sockets) socket.destroy()
    server.close()
    resolve()
  }
  const halt = pace(live, ends, seconds, close)
  const bound = typeof address === 'object' && address ? address.port : port
  return { address: `tcp://127.0.0.1:${bound}`, ended: promise, close }
}
