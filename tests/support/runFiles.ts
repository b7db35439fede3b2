import { mkdtempSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterAll } from 'vitest'
import { captureHeader, formatCaptureLine } from '../../core/capture/formatCapture.ts'
import type { CaptureRecord } from '../../core/contract/records.ts'
import { encodeLine } from '../../core/line/encodeLine.ts'

/** A directory of the test file's own, gone when it ends. */
export function testDirectory(): string {
  const directory = mkdtempSync(join(tmpdir(), 'floatbowl-test-'))
  afterAll(() => rmSync(directory, { recursive: true, force: true }))
  return directory
}

export interface TinyChannel {
  name: string
  unit: string
  scale: number
}

/** A capture written by hand: a sample every `periodS`, integers as a board sends them, NaN for an empty field. */
export function tinyCapture(
  path: string,
  channels: readonly TinyChannel[],
  rows: readonly (readonly number[])[],
  records: readonly CaptureRecord[] = [],
  periodS = 0.1,
): string {
  let text = `${captureHeader}\n`
  for (const record of records) text += formatCaptureLine(0, '=', record)
  const line = (timeS: number, record: Parameters<typeof encodeLine>[0]) => {
    text += formatCaptureLine(timeS, '<0', encodeLine(record))
  }
  line(0, {
    kind: 'identity',
    version: 1,
    boardName: 'test',
    firmware: '1',
    uniqueId: '1',
    ticksPerSecond: 1e6,
  })
  channels.forEach((channel, index) => {
    line(0, { kind: 'channel', index, offset: 0, ...channel })
  })
  rows.forEach((values, seq) => {
    const timeS = (seq + 1) * periodS
    line(timeS, { kind: 'sample', seq, tick: Math.round(timeS * 1e6), values })
  })
  writeFileSync(path, text)
  return path
}
