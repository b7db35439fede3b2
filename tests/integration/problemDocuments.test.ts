import { connect } from 'node:net'
import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import { type RunningBridge, startBridge } from '../support/bridgeHarness.ts'
import { send } from '../support/rawRequest.ts'

let running: RunningBridge
beforeEach(async () => {
  running = await startBridge({})
})
afterEach(() => running.stop())

/** What the bridge says to bytes on a bare socket: status, head and body. */
function say(text: string): Promise<{ status: number; head: string; body: string }> {
  return new Promise((resolve, reject) => {
    let heard = ''
    const socket = connect(running.port, '127.0.0.1', () => socket.write(text))
    socket.setEncoding('latin1')
    socket.on('data', (more) => {
      heard += more
    })
    socket.on('error', reject)
    socket.on('close', () => {
      const [head, body = ''] = heard.split('\r\n\r\n')
      resolve({ status: Number(head.split(' ')[1]), head, body })
    })
  })
}

describe('what cannot be answered', () => {
  it.each([
    [
      'an address with a broken encoding',
      'GET /api/%E0%A4%A HTTP/1.1\r\nHost: 127.0.0.1\r\nConnection: close\r\n\r\n',
      400,
    ],
    ['no request at all', 'GOOD MORNING\r\n\r\n', 400],
    ['a request without a host', 'GET /api/status HTTP/1.1\r\nConnection: close\r\n\r\n', 400],
    ['endless headers', `GET / HTTP/1.1\r\nHost: 127.0.0.1\r\nX: ${'y'.repeat(40_000)}\r\n\r\n`, 431],
    [
      'the live stream without an upgrade',
      'GET /live HTTP/1.1\r\nHost: 127.0.0.1\r\nConnection: close\r\n\r\n',
      426,
    ],
    [
      'the live stream in another protocol',
      'GET /live HTTP/1.1\r\nHost: 127.0.0.1\r\nConnection: Upgrade\r\nUpgrade: websocket\r\nSec-WebSocket-Version: 13\r\nSec-WebSocket-Key: AAAAAAAAAAAAAAAAAAAAAA==\r\n\r\n',
      400,
    ],
  ])('%s is told in a problem document', async (_what, text, status) => {
    const answer = await say(text)
    expect(answer.status).toBe(status)
    expect(answer.head.toLowerCase()).toContain('content-type: application/problem+json')
    const problem = JSON.parse(answer.body.slice(answer.body.indexOf('{'), answer.body.lastIndexOf('}') + 1))
    expect(problem).toMatchObject({ status, detail: expect.stringMatching(/\w+ \w+/) })
  })
})

describe('a body that does not fit', () => {
  it.each([
    ['POST', '/api/recording', {}, 'on: is missing (expected true or false)'],
    ['POST', '/api/recording', { on: 'yes' }, 'on: expected true or false, found "yes"'],
    [
      'POST',
      '/api/air',
      { temperature_C: 900, pressure_kPa: 99 },
      'temperature_C: expected at most 70, found 900',
    ],
    ['POST', '/api/marks', { label: 'x'.repeat(5000) }, 'label: expected at most 200 characters'],
    [
      'PUT',
      '/api/cars/my-car/parts',
      { box: { main_jet: [{ label: 'x', bore_mm: -1 }] } },
      'box.main_jet.0.bore_mm: expected more than 0, found -1',
    ],
    ['POST', '/api/advise', { runs: 'all' }, 'runs: expected a list, found "all"'],
  ])('%s %s %j says which field, what it holds and what is expected', async (method, path, json, detail) => {
    const answer = await send(running.port, { method, path, json })
    expect(answer.status).toBe(400)
    expect(answer.json).toMatchObject({ detail })
  })
})
