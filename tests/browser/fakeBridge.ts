import type { Server } from 'node:http'
import type { AddressInfo } from 'node:net'
import { type WebSocket, WebSocketServer } from 'ws'
import type { ChannelDeclaration } from '../../core/contract/samples.ts'
import { type BridgeAlarm, type ServerMessage, streamProtocol } from '../../core/contract/stream.ts'
import { encodeStreamFrame } from '../../core/contract/streamFrame.ts'
import { noLines } from '../../core/line/lineCounts.ts'
import { createStaticServer } from './staticServer.ts'

/** Values of one moment, in the declared units; NaN = an empty field. */
export interface Scene {
  lambda: number
  lambda_2: number
  engine_speed: number
  throttle: number
  manifold_pressure: number
  barometer: number
  coolant: number
  supply: number
  cell_resistance: number
  road_speed: number
}

/** Length of the idle before the first page, s. */
const prologueS = 15

/** A warm engine cruising on target. */
export const cruise: Readonly<Scene> = {
  lambda: 1.02,
  lambda_2: Number.NaN,
  engine_speed: 2140,
  throttle: 18,
  manifold_pressure: 50,
  barometer: 101,
  coolant: 88,
  supply: 13.9,
  cell_resistance: 300,
  road_speed: 70,
}
export const fullThrottle: Readonly<Scene> = {
  ...cruise,
  lambda: 0.87,
  engine_speed: 3600,
  throttle: 95,
  manifold_pressure: 98,
}

const units: Readonly<Record<keyof Scene, string>> = {
  lambda: '1',
  lambda_2: '1',
  engine_speed: 'rpm',
  throttle: '%',
  manifold_pressure: 'kPa',
  barometer: 'kPa',
  coolant: 'C',
  supply: 'V',
  cell_resistance: 'ohm',
  road_speed: 'km/h',
}

/** A car of which nothing is noted yet. */
const keptOfCar: Readonly<Record<string, unknown>> = {
  '/api/status': { version: 'test', car: 'marigold', role: 'controller', sources: [] },
  '/api/runs': [],
  '/api/cars': [{ id: 'marigold', name: 'Marigold' }],
  '/api/cars/marigold/parts': { fitted: {}, box: {} },
  '/api/cars/marigold/swaps': [],
  '/api/cars/marigold/tanks': [],
}

export interface FakeBridgeOptions {
  /** Name of the source. */
  name?: string
  /** Pause between the hello and what is told of the sources, as a busy machine makes one. */
  sourcesAfterMs?: number
  /** Default: any that is free. */
  port?: number
  host?: string
  rateHz?: number
  channels?: readonly (keyof Scene)[]
  /** Stream seconds per second of wall time, default 1. */
  speed?: number
  /** Scene of each sample: `timeS` since the source began. Default: what `scene` holds. */
  wave?: (timeS: number, scene: Scene) => Scene
}

/**
 * A bridge whose board does what a test says, to the sample: same stream, same contract. Used where a real engine model could not be made to
 * misbehave on time.
 */
export class FakeBridge {
  scene: Scene = { ...cruise }
  /** False: the board is silent, the bridge lives. */
  sampling = true
  /** False: the network swallows everything without a word. */
  connected = true
  /** False: the bridge shut this screen out. */
  paired = true
  recording = false
  marks: string[] = []
  /** First words of each page. */
  greetings: { type: string; epoch?: string; afterBlock?: number }[] = []
  requests: { method: string; path: string; body: unknown }[] = []
  /** Wall time of the first sample with the current scene. */
  sceneSentMs = Number.NaN
  readonly options: FakeBridgeOptions
  #server: Server
  #port = 0
  #sockets = new WebSocketServer({ noServer: true, handleProtocols: () => streamProtocol })
  #timers: NodeJS.Timeout[] = []
  #clients = new Set<WebSocket>()
  #epoch = Math.random().toString(36).slice(2)
  #startMs = performance.now()
  #block = -1
  #frames: { block: number; bytes: Uint8Array }[] = []
  #channels: ChannelDeclaration[]
  #nextS = 0
  #fresh = true
  #recordingSinceS = 0
  #alarms: readonly BridgeAlarm[] = []
  #spike: { change: Partial<Scene>; fromS: number; toS: number } | undefined

  constructor(options: FakeBridgeOptions = {}) {
    this.options = options
    const names =
      options.channels ??
      (['lambda', 'engine_speed', 'throttle', 'manifold_pressure', 'barometer', 'coolant', 'supply'] as const)
    this.#channels = names.map((name, index) => ({ index, name, unit: units[name], scale: 0.001, offset: 0 }))
    this.#server = createStaticServer((method, path, body) => this.#api(method, path, body))
    this.#server.on('upgrade', (request, socket, head) => {
      if (!this.connected || !this.paired) {
        socket.destroy()
        return
      }
      this.#sockets.handleUpgrade(request, socket, head, (client) => this.#accept(client))
    })
  }

  get url(): string {
    return `http://${this.options.host ?? 'localhost'}:${this.#port}`
  }
  get clientCount(): number {
    return this.#clients.size
  }
  get timeS(): number {
    return prologueS + ((performance.now() - this.#startMs) / 1000) * (this.options.speed ?? 1)
  }

  async start(): Promise<this> {
    await new Promise<void>((resolve, reject) => {
      this.#server.once('error', reject)
      this.#server.listen(
        this.options.port ?? 0,
        this.options.host === undefined ? '127.0.0.1' : '0.0.0.0',
        resolve,
      )
    })
    this.#port = (this.#server.address() as AddressInfo).port
    this.#prologue()
    this.#nextS = prologueS
    this.#timers = [
      setInterval(() => this.#sample(), 20),
      setInterval(() => this.#tell({ type: 'heartbeat', timeS: this.timeS, block: this.#block }), 500),
    ]
    return this
  }

  /** Changes what the engine does for exactly so long on the board's clock, then back. */
  spike(change: Partial<Scene>, durationS: number): void {
    this.#spike = { change, fromS: this.#nextS, toS: this.#nextS + durationS }
  }

  /** Alarms of the bridge's own, from now on. */
  tellAlarms(alarms: readonly BridgeAlarm[]): void {
    this.#alarms = alarms
    this.#tell({ type: 'alarm', alarms: [...alarms] })
  }

  /** Dies as a killed process does: sockets are reset, the port is free. */
  async stop(): Promise<void> {
    for (const timer of this.#timers) clearInterval(timer)
    for (const client of this.#clients) client.terminate()
    this.#server.closeAllConnections()
    await new Promise<void>((resolve) => this.#server.close(() => resolve()))
  }

  /** Cuts all sockets; the process lives on. */
  dropClients(): void {
    for (const client of this.#clients) client.terminate()
  }

  /** Changes what the engine does from the next sample on. */
  set(change: Partial<Scene>): void {
    this.scene = { ...this.scene, ...change }
    this.#fresh = true
    this.sceneSentMs = Number.NaN
  }

  #api(method: string, path: string, body: unknown): { status: number; body?: unknown } {
    this.requests.push({ method, path, body })
    if (path === '/api/recording') {
      this.recording = (body as { on: boolean }).on
      this.#recordingSinceS = this.timeS
      const status = this.#recordingStatus()
      this.#tell({ type: 'recording', status })
      return { status: 200, body: status }
    }
    if (path === '/api/marks') {
      const { label } = body as { label: string }
      this.marks.push(label)
      this.#tell({ type: 'mark', timeS: this.timeS, label })
      return { status: 204 }
    }
    const kept = this.paired ? keptOfCar[path] : undefined
    if (kept) return { status: 200, body: kept }
    return {
      status: this.paired ? 404 : 401,
      body: { type: 'about:blank', title: 'none', status: 404, detail: 'none', code: 'none' },
    }
  }

  #recordingStatus() {
    return {
      on: this.recording,
      run: 'marigold/day/run',
      startS: this.#recordingSinceS,
      seconds: this.recording ? this.timeS - this.#recordingSinceS : 0,
      bytes: 1,
      automatic: false,
    }
  }

  #accept(client: WebSocket): void {
    client.on('close', () => this.#clients.delete(client))
    const send = (message: ServerMessage) => client.send(JSON.stringify(message))
    send({
      type: 'hello',
      protocol: 1,
      epoch: this.#epoch,
      timeS: this.timeS,
      at: new Date().toISOString(),
      car: 'marigold',
      role: 'controller',
      version: '0',
    })
    const tellConditions = () => {
      send({
        type: 'source',
        status: {
          source: 0,
          name: this.options.name ?? 'test board',
          state: 'connected',
          text: '',
          sinceS: 0,
          rateHz: this.options.rateHz ?? 50,
          counts: noLines(),
        },
      })
      send({ type: 'recording', status: this.#recordingStatus() })
      send({ type: 'alarm', alarms: [...this.#alarms] })
    }
    if (this.options.sourcesAfterMs) setTimeout(tellConditions, this.options.sourcesAfterMs)
    else tellConditions()
    send({ type: 'declaration', source: 0, segment: 0, channels: this.#channels })
    client.once('message', (data) => {
      const message = JSON.parse(String(data)) as (typeof this.greetings)[number]
      this.greetings.push(message)
      const after =
        message.type === 'resume' && message.epoch === this.#epoch ? (message.afterBlock ?? -1) : -1
      for (const frame of this.#frames) if (frame.block > after) client.send(frame.bytes)
      this.#clients.add(client)
    })
  }

  #sample(): void {
    const stepS = 1 / (this.options.rateHz ?? 50)
    const nowS = this.timeS
    const times: number[] = []
    while (this.#nextS <= nowS) {
      times.push(this.#nextS)
      this.#nextS += stepS
    }
    if (!this.sampling || times.length === 0) return
    const scenes = times.map((timeS) => {
      const spike = this.#spike
      const isIn = spike !== undefined && timeS >= spike.fromS && timeS < spike.toS
      const scene = isIn ? { ...this.scene, ...spike.change } : this.scene
      return this.options.wave?.(timeS, scene) ?? scene
    })
    const bytes = this.#keep(Float64Array.from(times), scenes)
    if (!this.connected) return
    if (this.#fresh) {
      this.#fresh = false
      this.sceneSentMs = Date.now() - ((this.timeS - times[0]) * 1000) / (this.options.speed ?? 1)
    }
    for (const client of this.#clients) client.send(bytes)
  }

  /** Seconds of warm idle before anybody looks, from which the pipeline learns the throttle's rest and the idle speed. */
  #prologue(): void {
    const idle: Scene = { ...cruise, lambda: 0.95, engine_speed: 800, throttle: 1, manifold_pressure: 38 }
    const count = prologueS * 20
    this.#keep(
      Float64Array.from({ length: count }, (_, i) => i / 20),
      Array.from({ length: count }, () => idle),
    )
  }

  #keep(timeS: Float64Array, scenes: readonly Scene[]): Uint8Array {
    const bytes = encodeStreamFrame(++this.#block, {
      source: 0,
      segment: 0,
      channels: this.#channels,
      count: timeS.length,
      timeS,
      columns: this.#channels.map(({ name }) =>
        Float32Array.from(scenes, (scene) => scene[name as keyof Scene] ?? Number.NaN),
      ),
    })
    this.#frames.push({ block: this.#block, bytes })
    if (this.#frames.length > 3000) this.#frames.shift()
    return bytes
  }

  #tell(message: ServerMessage): void {
    if (!this.connected) return
    const text = JSON.stringify(message)
    for (const client of this.#clients) client.send(text)
  }
}
