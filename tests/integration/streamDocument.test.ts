import { readFile } from 'node:fs/promises'
import { afterEach, beforeEach, expect, it } from 'vitest'
import { WebSocket } from 'ws'
import { boardSetup, createHandSource, type RunningBridge, startBridge } from '../support/bridgeHarness.ts'
import { createTestBoard } from '../support/testBoard.ts'

let running: RunningBridge
let source: ReturnType<typeof createHandSource>
beforeEach(async () => {
  source = createHandSource()
  running = await startBridge({ sources: [boardSetup(source)] })
})
afterEach(() => running.stop())

/** Offsets of the header's fields, read from the document's table. */
async function documentedOffsets(): Promise<Map<string, number>> {
  const text = await readFile(new URL('../../bridge/README.md', import.meta.url), 'utf8')
  const rows = text.matchAll(/^\| (\d+) +\| ([^|]+?) +\| (.+?) +\|$/gm)
  return new Map(Array.from(rows, ([, offset, , what]) => [what, Number(offset)]))
}

it('a client that knows the document only reads the samples of the board', async () => {
  const offsets = await documentedOffsets()
  const offsetOf = (what: string) => offsets.get(what) ?? Number.NaN
  const socket = new WebSocket(`ws://127.0.0.1:${running.port}/live`, 'floatbowl.v1')
  const channels: { name: string; unit: string }[] = []
  const times: number[] = []
  const columns: number[][] = []
  const done = new Promise<void>((resolve, reject) => {
    socket.on('error', reject)
    socket.on('message', (data: Buffer, isBinary) => {
      if (!isBinary) {
        const message = JSON.parse(String(data))
        if (message.type === 'declaration') channels.splice(0, channels.length, ...message.channels)
        return
      }
      const columnCount = data.readUInt32LE(offsetOf('columns, C'))
      const count = data.readUInt32LE(offsetOf('samples, N'))
      expect(data.toString('latin1', 0, 4)).toBe('FBLK')
      expect(data.readUInt16LE(offsetOf('version, 1'))).toBe(1)
      expect(data.readUInt16LE(offsetOf('source'))).toBe(0)
      const from = offsetOf("times, seconds on the stream's clock")
      expect(data.length).toBe(from + 8 * count + 4 * columnCount * count)
      for (let i = 0; i < count; i++) times.push(data.readDoubleLE(from + 8 * i))
      for (let c = 0; c < columnCount; c++) {
        columns[c] ??= []
        for (let i = 0; i < count; i++)
          columns[c].push(data.readFloatLE(from + 8 * count + 4 * (c * count + i)))
      }
      if (times.length >= 200) resolve()
    })
  })
  const board = createTestBoard()
  source.feed(board.greeting() + board.samples(200))
  await done
  socket.close()
  expect(channels.length).toBe(columns.length)
  expect(channels[0]).toMatchObject({ name: expect.any(String), unit: expect.any(String) })
  expect(times.every((timeS, i) => i === 0 || timeS > times[i - 1])).toBe(true)
  for (const column of columns) expect(column).toHaveLength(times.length)
})
