import { connect } from 'node:net'
import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import WebSocket from 'ws'
import type { SampleBlock } from '../../core/contract/samples.ts'
import { streamProtocol } from '../../core/contract/stream.ts'
import {
  boardSetup,
  createHandSource,
  type RunningBridge,
  startBridge,
  TestPage,
  until,
} from '../support/bridgeHarness.ts'
import { createTestBoard } from '../support/testBoard.ts'

const wideChannels = Array.from({ length: 16 }, (_, index) => ({
  index,
  name: `input_${index + 1}`,
  unit: 'V',
  scale: 1,
  offset: 0,
}))

let running: RunningBridge
let source: ReturnType<typeof createHandSource>
let board: ReturnType<typeof createTestBoard>
const pages: TestPage[] = []

beforeEach(async () => {
  source = createHandSource()
  board = createTestBoard()
  running = await startBridge({ sources: [boardSetup(source)] })
  source.feed(board.greeting())
})

afterEach(async () => {
  for (const page of pages.splice(0)) page.close()
  await running.stop()
})

function open(options?: ConstructorParameters<typeof TestPage>[1]): TestPage {
  const page = new TestPage(running.port, options)
  pages.push(page)
  return page
}

describe('the live stream', () => {
  it('greets, then tells sources, recording and declarations before the first block', async () => {
    source.feed(board.samples(10))
    const page = open()
    await until(() => page.sampleCount === 10, 'the samples')
    expect(page.messages[0]).toMatchObject({
      type: 'hello',
      protocol: 1,
      car: 'test-car',
      role: 'controller',
    })
    expect(page.of('source')[0].status).toMatchObject({ source: 0, state: 'connected' })
    expect(page.of('recording')[0].status).toMatchObject({ on: false })
    expect(page.of('declaration')[0].channels.map(({ name }) => name)).toContain('lambda')
  })

  it('gives a late page what came before it', async () => {
    source.feed(board.samples(300))
    await until(() => running.bridge.stream.historyBytes > 0, 'the history')
    const page = open()
    await until(() => page.sampleCount === 300, 'the old samples')
  })

  it('starts a page that says nothing', async () => {
    source.feed(board.samples(5))
    const socket = new WebSocket(`ws://127.0.0.1:${running.port}/live`, streamProtocol)
    let frames = 0
    socket.on('message', (_data, isBinary) => {
      if (isBinary) frames++
    })
    await until(() => frames > 0, 'a block')
    socket.terminate()
  })

  it('goes on after the block that a returning page names, without one twice or missing', async () => {
    source.feed(board.samples(50))
    const first = open()
    await until(() => first.sampleCount === 50, 'first samples')
    const { epoch } = first.of('hello')[0]
    const last = first.frames[first.frames.length - 1].block
    first.close()
    source.feed(board.samples(70))
    const second = open({ first: { type: 'resume', epoch, afterBlock: last } })
    await until(() => second.sampleCount === 70, 'only the missed samples')
    source.feed(board.samples(1))
    await until(() => second.sampleCount === 71, 'the next sample')
    expect(second.frames[0].block).toBe(last + 1)
  })

  it('gives a page of an earlier bridge everything it has', async () => {
    source.feed(board.samples(40))
    await until(() => running.bridge.stream.historyBytes > 0, 'the history')
    const page = open({ first: { type: 'resume', epoch: 'another', afterBlock: 3 } })
    await until(() => page.sampleCount === 40, 'all samples')
  })

  it('keeps marks and events in their place between the blocks', async () => {
    source.feed(board.samples(10))
    running.bridge.mark('here')
    source.feed(board.samples(10))
    const page = open()
    await until(() => page.sampleCount === 20, 'the samples')
    expect(page.of('mark')[0]).toMatchObject({ label: 'here' })
  })

  it('beats every half second', async () => {
    const page = open()
    await until(() => page.of('heartbeat').length >= 2, 'two heartbeats')
    const [first, second] = page.of('heartbeat')
    expect(second.timeS).toBeGreaterThan(first.timeS)
  })

  it('refuses another subprotocol and another path', async () => {
    const wrong = open({ protocol: 'other.v1' })
    await until(() => wrong.closeCode !== undefined, 'refused')
    expect(wrong.messages).toEqual([])
    const socket = new WebSocket(`ws://127.0.0.1:${running.port}/other`, streamProtocol)
    const status = await new Promise((resolve) =>
      socket.on('unexpected-response', (_request, response) => resolve(response.statusCode)),
    )
    expect(status).toBe(404)
    socket.on('error', () => {})
    socket.terminate()
  })
})

/** A thousand samples of sixteen channels from a second source. */
function wideBlock(round: number): SampleBlock {
  return {
    source: 1,
    segment: 0,
    channels: wideChannels,
    count: 1000,
    timeS: Float64Array.from({ length: 1000 }, (_, i) => round + i / 1000),
    columns: wideChannels.map(() => new Float32Array(1000)),
  }
}

describe('a stalled page', () => {
  it('slows nobody, grows no memory, and is told how much it missed', async () => {
    const fast = open()
    const slow = open()
    await until(() => fast.of('hello').length > 0 && slow.of('hello').length > 0, 'both are in')
    source.feed(board.samples(10))
    await until(() => slow.sampleCount === 10 && fast.sampleCount === 10, 'both are live')
    slow.socket.pause()
    let fed = 10
    // Far more than the kernel's socket buffers and the queue together: 22 MB.
    for (let round = 0; round < 300; round++) {
      running.bridge.stream.push(wideBlock(round))
      fed += 1000
      if (round % 10 === 9) await until(() => fast.sampleCount >= fed - 1000, 'the fast page keeps up')
    }
    await until(() => fast.sampleCount === fed, 'the fast page has all')
    expect(slow.socket.isPaused).toBe(true)
    expect(fast.of('missed')).toEqual([])
    slow.socket.resume()
    await until(() => {
      source.feed(board.samples(1))
      fed++
      return slow.of('missed').length > 0
    }, 'the slow page is told')
    const { blocks, samples } = slow.of('missed')[0]
    expect(blocks).toBeGreaterThan(0)
    expect(samples).toBeGreaterThan(0)
    await until(() => fast.sampleCount === fed, 'the fast page has all')
    await until(
      () => slow.frames[slow.frames.length - 1].block === fast.frames[fast.frames.length - 1].block,
      'the slow page is live again',
    )
    const missed = slow.of('missed').reduce((sum, each) => sum + each.samples, 0)
    expect(slow.sampleCount + missed).toBe(fed)
  })

  it('that answers no ping is cut off', async () => {
    // A client that completes the handshake by hand and then never answers anything.
    const socket = connect(running.port, '127.0.0.1')
    let closed = false
    socket.on('close', () => {
      closed = true
    })
    socket.on('error', () => {})
    socket.write(
      `GET /live HTTP/1.1\r\nHost: 127.0.0.1:${running.port}\r\nConnection: Upgrade\r\nUpgrade: websocket\r\nSec-WebSocket-Version: 13\r\nSec-WebSocket-Key: AAAAAAAAAAAAAAAAAAAAAA==\r\nSec-WebSocket-Protocol: ${streamProtocol}\r\n\r\n`,
    )
    socket.resume()
    await until(() => running.bridge.stream.clientCount === 1, 'it is in')
    await until(() => closed && running.bridge.stream.clientCount === 0, 'it is cut off', 15_000)
  })
})
