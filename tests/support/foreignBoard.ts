import { type AddressInfo, createServer, type Socket } from 'node:net'

/** A board that prints lines of a format of its own, behind a network address. */
export interface ForeignBoard {
  /** `tcp://…` for `--port`. */
  readonly address: string
  close(): Promise<void>
}

/** Sends `lineOf(n)` with its line end every `everyMs` to whoever is connected. */
export async function startForeignBoard(lineOf: (n: number) => string, everyMs = 20): Promise<ForeignBoard> {
  const sockets = new Set<Socket>()
  const server = createServer((socket) => {
    sockets.add(socket)
    socket.on('error', () => {})
    socket.on('close', () => sockets.delete(socket))
  })
  await new Promise<void>((resolve) => server.listen(0, '127.0.0.1', resolve))
  let n = 0
  const timer = setInterval(() => {
    const line = `${lineOf(n++)}\r\n`
    for (const socket of sockets) socket.write(line)
  }, everyMs)
  return {
    address: `tcp://127.0.0.1:${(server.address() as AddressInfo).port}`,
    async close() {
      clearInterval(timer)
      for (const socket of sockets) socket.destroy()
      await new Promise((resolve) => server.close(resolve))
    },
  }
}
