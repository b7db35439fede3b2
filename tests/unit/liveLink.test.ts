import { afterEach, beforeEach, describe, expect, it, vi } from 'vitest'
import { LiveLink } from '../../dashboard/worker/liveLink.ts'

/** A socket that does nothing by itself. */
class IdleSocket {
  binaryType = ''
  onmessage: ((event: { data: unknown }) => void) | null = null
  onclose: (() => void) | null = null
  onerror: (() => void) | null = null
  readonly sent: string[] = []
  send(text: string) {
    this.sent.push(text)
  }
  close() {}
}

let sockets: IdleSocket[]
let link: LiveLink

beforeEach(() => {
  vi.useFakeTimers()
  sockets = []
  link = new LiveLink({
    url: 'ws://bridge.test/live',
    createSocket: () => {
      const socket = new IdleSocket()
      sockets.push(socket)
      return socket as unknown as WebSocket
    },
    nowMs: () => Date.now(),
    random: () => 0.5,
    onmessage: () => {},
    onframe: () => {},
    onstatus: () => {},
    isRefused: async () => false,
  })
})
afterEach(() => {
  link.close()
  vi.useRealTimers()
})

/** Refuses each attempt as it comes, so many times. */
function refuse(times: number): void {
  for (let i = 0; i < times; i++) {
    const count = sockets.length
    sockets[count - 1].onclose?.()
    while (sockets.length === count) vi.advanceTimersByTime(10)
  }
}
/** How long until the next attempt, ms. */
function untilNext(): number {
  const count = sockets.length
  const from = Date.now()
  while (sockets.length === count) vi.advanceTimersByTime(10)
  return Date.now() - from
}

describe('LiveLink', () => {
  it('waits longer after each failed attempt, five seconds at most', () => {
    const waits: number[] = []
    for (let i = 0; i < 7; i++) {
      sockets.at(-1)!.onclose?.()
      waits.push(untilNext())
    }
    expect(waits).toEqual([250, 500, 1000, 2000, 4000, 5000, 5000])
  })

  it('tries at once when a person comes back between two attempts', () => {
    refuse(6)
    sockets.at(-1)!.onclose?.()
    const count = sockets.length
    link.nudge()
    expect(sockets.length).toBe(count + 1)
  })

  it('tries again soon when the attempt that was under way as a person came back fails', () => {
    refuse(6)
    link.nudge()
    sockets.at(-1)!.onclose?.()
    expect(untilNext()).toBe(250)
  })

  it('asks for what came after the last block it handled, of the same bridge only', () => {
    const greet = (epoch: string) => {
      const socket = sockets.at(-1)!
      socket.onmessage?.({ data: JSON.stringify({ type: 'hello', epoch }) })
      return JSON.parse(socket.sent[0]) as unknown
    }
    expect(greet('a')).toEqual({ type: 'start' })
    link.block = 41
    sockets.at(-1)!.onclose?.()
    untilNext()
    expect(greet('a')).toEqual({ type: 'resume', epoch: 'a', afterBlock: 41 })
    sockets.at(-1)!.onclose?.()
    untilNext()
    expect(greet('b')).toEqual({ type: 'start' })
  })
})
