import { describe, expect, test } from 'vitest'
import type { WebSocket } from 'ws'
import { History } from '../../bridge/stream/history.ts'
import { mostOnTheWayBytes, StreamClient } from '../../bridge/stream/streamClient.ts'

const blockBytes = 2000

/** A link whose system takes whatever it is given: only pongs tell what has arrived. */
function swallowingLink() {
  const history = new History()
  const link = { bytes: 0, blocks: 0, texts: [] as { type: string; blocks?: number; samples?: number }[] }
  const pings: string[] = []
  const socket = {
    readyState: 1,
    OPEN: 1,
    bufferedAmount: 0,
    send(message: Uint8Array | string, sent?: () => void) {
      link.bytes += message.length
      if (typeof message === 'string') link.texts.push(JSON.parse(message))
      else link.blocks++
      sent?.()
    },
    ping: (text: string) => pings.push(text),
  }
  let nowMs = 0
  const client = new StreamClient(
    { socket: socket as unknown as WebSocket, history, greetAgain: () => {} },
    () => nowMs,
  )
  let block = -1
  return {
    client,
    history,
    link,
    pings,
    /** So many blocks of the stream, ten samples each, 1/30 s apart. */
    push(count: number) {
      for (let i = 0; i < count; i++) {
        block++
        nowMs += 1000 / 30
        const message = new Uint8Array(blockBytes)
        history.add({ timeS: block / 30, message, block, samples: 10, source: 0, segment: 0 })
        client.pump()
      }
    },
  }
}

describe('a page on a slow link', () => {
  test('has no more on the way than a bound, though the system would take it', () => {
    const { client, link, push } = swallowingLink()
    client.startAt(0)
    push(1000)
    expect(link.bytes).toBeLessThanOrEqual(mostOnTheWayBytes)
    expect(link.blocks).toBeGreaterThan(30)
  })

  test('is told what it missed as soon as it has caught up', () => {
    const { client, link, pings, push } = swallowingLink()
    client.startAt(0)
    push(200)
    const given = link.blocks
    client.pong(pings.at(-1)!)
    push(1)
    const missed = link.texts.filter(({ type }) => type === 'missed')
    expect(missed).toHaveLength(1)
    expect(missed[0].blocks).toBe(200 - given)
    expect(missed[0].samples).toBe(10 * (200 - given))
    expect(link.blocks).toBe(given + 1)
  })

  test('that answers gets everything', () => {
    const { client, link, pings, push } = swallowingLink()
    client.startAt(0)
    for (let i = 0; i < 500; i++) {
      push(1)
      if (pings.length > 0) client.pong(pings.at(-1)!)
    }
    expect(link.blocks).toBe(500)
    expect(link.texts).toEqual([])
  })

  test('may take a burst at once', () => {
    const { client, link, history } = swallowingLink()
    client.startAt(0)
    for (let block = 0; block < 200; block++)
      history.add({
        timeS: 0,
        message: new Uint8Array(blockBytes),
        block,
        samples: 10,
        source: 0,
        segment: 0,
      })
    client.pump()
    expect(link.blocks).toBe(200)
  })

  test('cannot claim more than it was sent', () => {
    const { client, link, push } = swallowingLink()
    client.startAt(0)
    client.pong('1e12')
    client.pong('-5')
    client.pong('x')
    push(1000)
    expect(link.bytes).toBeLessThanOrEqual(mostOnTheWayBytes)
  })
})
