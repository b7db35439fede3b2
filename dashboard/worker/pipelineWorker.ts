/*
 * Owns the stream and the one pipeline, so that neither parsing nor arithmetic ever holds up a frame of the page. Posts a
 * reading for each block that comes, some 30 a second, and the trace's columns when asked.
 */
import '../contentPolicy.ts'
import { type CarProfile, carSchema } from '../../core/contract/car.ts'
import type { CaptureRecord } from '../../core/contract/records.ts'
import type { ChannelDeclaration } from '../../core/contract/samples.ts'
import type { ServerMessage } from '../../core/contract/stream.ts'
import { decodeStreamFrame, type StreamFrame } from '../../core/contract/streamFrame.ts'
import { createPipeline } from '../../core/pipeline/createPipeline.ts'
import { blockPieces } from './blockPieces.ts'
import { LiveLink } from './liveLink.ts'
import type { FromWorker, ToWorker } from './messages.ts'
import { TraceHistory } from './traceHistory.ts'

/** Least time between two readings posted, ms: under a frame, so that no block waits here but in a flood. */
const postMs = 14
/** A worked-out value is kept at least this often, s: closer than what a chart shows as a gap. */
const longestPieceS = 0.04
/** Without samples a reading is posted this often, so that silence is noticed, ms. */
const idlePostMs = 100
/** The pipeline is told the time only after so long without a sample: samples bring their own. */
const silenceS = 1
/** The profile must come within this, ms; then the defaults do. */
const carTimeoutMs = 1500
/** History that the pipeline keeps for its learning, seconds. */
const historyS = 1800
/** What was sampled so long before the greeting is the past that the bridge sends first, and no reading of now, s. */
const pastS = 0.5
/** The past comes in one burst: after this it is over, whatever the board's clock says, ms. */
const longestPastMs = 2000

let car: CarProfile | undefined
let pipeline = createPipeline({ historyS })
let link: LiveLink | undefined
const trace = new TraceHistory()
let declarations = new Map<string, readonly ChannelDeclaration[]>()
let epoch = ''
/** The trace's clock minus the stream's: goes on over a restart of the bridge. */
let traceOffsetS = Number.NaN
let firstWallS = Number.NaN
/** This machine's clock minus the stream's, by the newest heartbeat, s. */
let streamOffsetS = Number.NaN
let sampleArrivalMs = Number.NEGATIVE_INFINITY
let newestSampleS = Number.NaN
/** Samples up to here, stream time, are the past; they come until then. */
let pastUntilS = Number.NEGATIVE_INFINITY
let pastEndsMs = Number.NEGATIVE_INFINITY
let postedMs = Number.NEGATIVE_INFINITY
let timer: ReturnType<typeof setTimeout> | undefined
let channelsChanged = false
/** What arrived while the car's profile is being fetched: its targets must be there before the first sample. */
let waiting: (() => void)[] | undefined

const post = (message: FromWorker, transfer: Transferable[] = []) => self.postMessage(message, { transfer })

function hello(message: Extract<ServerMessage, { type: 'hello' }>): void {
  const wallS = Date.parse(message.at) / 1000
  if (Number.isNaN(firstWallS)) firstWallS = wallS - message.timeS
  traceOffsetS = wallS - message.timeS - firstWallS
  pastUntilS = message.timeS - pastS
  pastEndsMs = performance.now() + longestPastMs
  if (message.epoch === epoch) return
  // Another bridge process: its clock and block numbers begin anew, and so does what was learned from them.
  epoch = message.epoch
  declarations = new Map()
  newestSampleS = Number.NaN
  waiting = []
  const own = waiting
  void loadCar(message.car).then((loaded) => {
    // Another hello came meanwhile: its own answer will do this.
    if (waiting !== own) return
    car = loaded ?? car
    pipeline = createPipeline({ car, historyS })
    waiting = undefined
    for (const handle of own) handle()
  })
}

/** The profile of the car in use; undefined when the bridge has none, or does not answer in time. */
async function loadCar(id: string): Promise<CarProfile | undefined> {
  const stop = new AbortController()
  const timer = setTimeout(() => stop.abort(), carTimeoutMs)
  try {
    const answer = await fetch(new URL('/api/cars', self.location.origin), { signal: stop.signal })
    const cars: unknown = answer.ok ? await answer.json() : undefined
    const parsed = carSchema.safeParse(
      Array.isArray(cars) ? cars.find((entry) => entry?.id === id) : undefined,
    )
    if (!parsed.success) return undefined
    post({ type: 'car', car: parsed.data })
    return parsed.data
  } catch {
    // The defaults hold until the next hello.
    return undefined
  } finally {
    clearTimeout(timer)
  }
}

function frame(data: ArrayBuffer): void {
  let decoded: StreamFrame
  try {
    decoded = decodeStreamFrame(data)
  } catch {
    // A frame of another version: nothing in it can be used.
    return
  }
  if (link) link.block = decoded.block
  if (waiting) waiting.push(() => take(decoded))
  else take(decoded)
}

function take(decoded: StreamFrame): void {
  const channels = declarations.get(`${decoded.source}/${decoded.segment}`)
  if (!channels || channels.length !== decoded.columns.length || decoded.count === 0) return
  const block = { ...decoded, channels }
  if (trace.push(block, traceOffsetS)) channelsChanged = true
  // Read after each piece, not for each picture: what was sent before the page was opened comes faster than pictures are drawn.
  for (const piece of blockPieces(block, longestPieceS)) {
    pipeline.push(piece)
    if (decoded.source === 0 && trace.pushReading(pipeline.live(), traceOffsetS)) channelsChanged = true
  }
  if (decoded.source === 0) {
    newestSampleS = decoded.timeS[decoded.count - 1]
    // What was missed is taken in first: shown as it runs through, a minute-old mixture would pass for that of now.
    if (newestSampleS < pastUntilS && performance.now() < pastEndsMs) return
    pastEndsMs = Number.NEGATIVE_INFINITY
    sampleArrivalMs = performance.now()
  }
  schedule()
}

function hear(message: ServerMessage): void {
  switch (message.type) {
    case 'heartbeat':
      streamOffsetS = performance.now() / 1000 - message.timeS
      return
    case 'declaration':
      declarations.set(`${message.source}/${message.segment}`, message.channels)
      return
    case 'hello':
      hello(message)
      break
    case 'event':
      inOrder(() => pipeline.event(message))
      break
    case 'mark':
      inOrder(() => pipeline.record(message.timeS, { type: 'mark', label: message.label }))
      break
    case 'record':
      inOrder(() => pipeline.record(message.timeS, message.record as CaptureRecord))
      break
    default:
      break
  }
  post({ type: 'said', message })
}

/** Now, or after what waits for the car's profile. */
function inOrder(handle: () => void): void {
  if (waiting) waiting.push(handle)
  else handle()
}

/** Posts at once when the last reading is old enough, else as soon as it is. */
function schedule(): void {
  if (timer !== undefined) return
  const waitMs = postMs - (performance.now() - postedMs)
  if (waitMs <= 0) postReading()
  else timer = setTimeout(postReading, waitMs)
}

function postReading(): void {
  clearTimeout(timer)
  timer = undefined
  postedMs = performance.now()
  const ageS = (postedMs - sampleArrivalMs) / 1000
  if (ageS > silenceS && !Number.isNaN(streamOffsetS) && !Number.isNaN(newestSampleS)) {
    const nowS = postedMs / 1000 - streamOffsetS
    if (nowS > newestSampleS) pipeline.advance(nowS)
  }
  const reading = pipeline.live()
  if (channelsChanged) {
    channelsChanged = false
    post({ type: 'channels', channels: trace.channels })
  }
  const linkSilentS = (link?.silentMs ?? 0) / 1000
  post({ type: 'live', reading, ageS, linkSilentS, traceS: newestSampleS + traceOffsetS })
}

async function isRefused(url: string): Promise<boolean> {
  const address = new URL('/api/status', url)
  address.protocol = address.protocol === 'wss:' ? 'https:' : 'http:'
  const answer = await fetch(address, { cache: 'no-store' })
  return answer.status === 401 || answer.status === 403
}

setInterval(() => {
  if (performance.now() - postedMs >= idlePostMs) postReading()
}, idlePostMs)

self.onmessage = (event: MessageEvent<ToWorker>) => {
  const message = event.data
  switch (message.type) {
    case 'open':
      link?.close()
      link = new LiveLink({
        url: message.url,
        createSocket: (url, protocol) => new WebSocket(url, protocol),
        nowMs: () => performance.now(),
        random: Math.random,
        onmessage: hear,
        onframe: frame,
        onstatus: (status) => post({ type: 'link', status }),
        isRefused: () => isRefused(message.url),
      })
      return
    case 'nudge':
      link?.nudge()
      return
    case 'car':
      car = message.car
      // A record wins over the options, so the same pipeline goes on with the new targets.
      pipeline.record(Number.isNaN(newestSampleS) ? 0 : newestSampleS, { type: 'car', car: message.car })
      return
    case 'trace': {
      const answer = trace.answer(message.request)
      post({ type: 'trace', answer }, [
        answer.timeS.buffer,
        ...answer.values.map((values) => values.buffer),
      ] as Transferable[])
    }
  }
}
