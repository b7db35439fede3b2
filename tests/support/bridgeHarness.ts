import { mkdtemp, readdir, readFile, rm } from 'node:fs/promises'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import WebSocket from 'ws'
import { Bridge, type BridgeOptions, type SourceSetup } from '../../bridge/bridge.ts'
import { createClock } from '../../bridge/clock.ts'
import { createBridgeServer, type ServerOptions } from '../../bridge/http/server.ts'
import type { Logger } from '../../bridge/logger.ts'
import { createBoardLines } from '../../bridge/source/decoders.ts'
import type { Source, SourceSink } from '../../bridge/source/source.ts'
import { type ServerMessage, streamProtocol } from '../../core/contract/stream.ts'
import { decodeStreamFrame, type StreamFrame } from '../../core/contract/streamFrame.ts'

/** A logger whose lines a test can read. */
export function createTestLogger(): Logger & { lines: string[] } {
  const lines: string[] = []
  const keep = (level: string) => (text: string) => {
    lines.push(`${level} ${text}`)
  }
  return { lines, info: keep('info'), warn: keep('warn'), error: keep('error') }
}

/** A source that a test feeds by hand. */
export function createHandSource(): Source & {
  sink: SourceSink | undefined
  feed(text: string | Uint8Array): void
} {
  const clock = createClock()
  return {
    name: 'hand',
    canAsk: false,
    sink: undefined,
    start(sink) {
      this.sink = sink
      sink.wire('open', 'fed by a test')
    },
    feed(text) {
      this.sink?.bytes(typeof text === 'string' ? Buffer.from(text, 'latin1') : text, clock.nowS())
    },
    write: () => false,
    reopen() {},
    stop: () => Promise.resolve(),
  }
}

export function boardSetup(source: Source, more: Partial<SourceSetup> = {}): SourceSetup {
  return { source, createDecoder: createBoardLines, unreadableText: 'wrong speed?', ...more }
}

export interface HarnessOptions extends Partial<Omit<BridgeOptions, 'dataDir' | 'version'>> {
  server?: Partial<ServerOptions>
  dataDir?: string
  host?: string
}

/** A whole bridge on a free port with a data directory of its own. */
export async function startBridge(options: HarnessOptions = {}) {
  const dataDir = options.dataDir ?? (await mkdtemp(join(tmpdir(), 'floatbowl-test-')))
  const logger = createTestLogger()
  const bridge = new Bridge({
    version: '0.0.0-test',
    clock: createClock(),
    logger,
    sources: [],
    car: 'test-car',
    autoRecord: false,
    ...options,
    dataDir,
  })
  const server = await createBridgeServer({ bridge, lan: false, ...options.server })
  const port = await server.listen(options.host ?? '127.0.0.1', 0)
  await bridge.start()
  return {
    bridge,
    server,
    port,
    dataDir,
    logger,
    url: (path: string) => `http://127.0.0.1:${port}${path}`,
    async stop() {
      await bridge.stop()
      await server.close()
      if (options.dataDir === undefined) await rm(dataDir, { recursive: true, force: true })
    },
  }
}

export type RunningBridge = Awaited<ReturnType<typeof startBridge>>

/** A page at the live stream: everything it was sent, sorted. */
export class TestPage {
  readonly socket: WebSocket
  readonly frames: StreamFrame[] = []
  readonly messages: ServerMessage[] = []
  closeCode: number | undefined
  sampleCount = 0

  constructor(
    port: number,
    options: { first?: object; headers?: Record<string, string>; protocol?: string } = {},
  ) {
    this.socket = new WebSocket(`ws://127.0.0.1:${port}/live`, options.protocol ?? streamProtocol, {
      headers: options.headers,
      perMessageDeflate: false,
    })
    this.socket.on('open', () => this.socket.send(JSON.stringify(options.first ?? { type: 'start' })))
    this.socket.on('message', (data: Buffer, isBinary) => {
      if (isBinary) {
        const bytes = new Uint8Array(data)
        const { buffer, byteOffset, length } = bytes
        const frame = decodeStreamFrame(buffer.slice(byteOffset, byteOffset + length))
        this.frames.push(frame)
        this.sampleCount += frame.count
      } else this.messages.push(JSON.parse(String(data)))
    })
    this.socket.on('close', (code) => {
      this.closeCode = code
    })
    this.socket.on('error', () => {})
  }

  of<T extends ServerMessage['type']>(type: T): Extract<ServerMessage, { type: T }>[] {
    return this.messages.filter((message) => message.type === type) as Extract<ServerMessage, { type: T }>[]
  }

  close(): void {
    this.socket.terminate()
  }
}

/** Waits until a claim holds; asks every 10 ms, so a slow machine only takes longer. */
export async function until(claim: () => unknown, what: string, limitMs = 20_000): Promise<void> {
  const endMs = performance.now() + limitMs
  while (!(await claim())) {
    if (performance.now() > endMs) throw new Error(`never came: ${what}`)
    await new Promise((resolve) => setTimeout(resolve, 10))
  }
}

/** Paths of all captures in a data directory. */
export async function findCaptures(dataDir: string): Promise<string[]> {
  const names = await readdir(dataDir, { recursive: true })
  return names.filter((name) => name.endsWith('.capture')).map((name) => join(dataDir, name))
}

export async function readCapture(path: string): Promise<string> {
  return await readFile(path, 'latin1')
}
