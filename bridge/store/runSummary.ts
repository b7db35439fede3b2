import { CaptureError } from '../../core/capture/captureError.ts'
import { checkHeader } from '../../core/capture/captureHeader.ts'
import { unescapeBytes } from '../../core/capture/escape.ts'
import type { Air, Fitted } from '../../core/contract/car.ts'
import { captureRecordSchema } from '../../core/contract/records.ts'
import { openRun } from '../analysis/openRun.ts'

/** What a list of runs shows of one file. */
export interface RunHead {
  start: string
  zone?: string
  seconds: number
  title: string
  fitted: Fitted
  air?: Air
  marks: number
  problem?: string
}

/** A line longer than this is no record of ours; its rest is passed over. */
const longestLineBytes = 256 * 1024
const lineFeed = 10
const space = 32
const equals = 61

/**
 * Reads what the list needs from a capture: its records and its last time. Sample lines are only stepped over. Reads in pieces, so that
 * a long run never holds up the live view.
 */
export async function readRunHead(path: string): Promise<RunHead> {
  const reader = createHeadReader()
  const { file, bytes } = await openRun(path, 256 * 1024)
  try {
    for await (const chunk of bytes) if (!reader.push(chunk as Buffer)) break
  } catch (error) {
    return { ...reader.end(), problem: `cannot be read: ${error instanceof Error ? error.message : error}` }
  } finally {
    file.destroy()
  }
  return reader.end()
}

/** What is wrong with a file's first line, undefined for nothing. */
function headerProblem(line: Uint8Array): string | undefined {
  try {
    checkHeader(line)
    return undefined
  } catch (error) {
    const isNewer = error instanceof CaptureError && error.code === 'newer_version'
    return isNewer ? error.message : 'this is no capture file'
  }
}

function createHeadReader() {
  const head: RunHead = { start: '', seconds: 0, title: '', fitted: {}, marks: 0 }
  let held: Buffer = Buffer.alloc(0)
  let lineCount = 0
  let lastTime = ''

  const take = (line: Buffer) => {
    if (lineCount++ === 0) {
      const problem = headerProblem(line)
      if (problem) head.problem = problem
      return
    }
    const gap = line.indexOf(space)
    if (gap <= 0) return
    if (line[gap + 1] === equals)
      takeRecord(head, Buffer.from(unescapeBytes(line.subarray(gap + 3))).toString('utf8'))
    // Converted once at the end: a number for each of a million lines would cost more than all the rest.
    if (gap <= 20) lastTime = line.toString('latin1', 0, gap)
  }

  return {
    push(chunk: Buffer): boolean {
      const bytes = held.length > 0 ? Buffer.concat([held, chunk]) : chunk
      let start = 0
      for (;;) {
        const end = bytes.indexOf(lineFeed, start)
        if (end < 0) break
        take(bytes.subarray(start, end))
        start = end + 1
        if (head.problem) return false
      }
      held = Buffer.from(bytes.subarray(start))
      if (held.length > longestLineBytes) {
        if (lineCount === 0) head.problem = 'this is no capture file'
        held = Buffer.alloc(0)
      }
      return !head.problem
    },
    end(): RunHead {
      if (lineCount === 0) head.problem ??= 'this is no capture file'
      const seconds = Number(lastTime)
      if (seconds > 0) head.seconds = seconds
      return head
    },
  }
}

function takeRecord(head: RunHead, text: string): void {
  let value: unknown
  try {
    value = JSON.parse(text)
  } catch {
    // A torn record is passed over; the check of the run counts it.
    return
  }
  const record = captureRecordSchema.safeParse(value).data
  if (!record) return
  if (record.type === 'start') {
    head.start = record.at
    if (record.zone) head.zone = record.zone
  } else if (record.type === 'title') head.title = record.text
  else if (record.type === 'fitted') head.fitted = record.fitted
  else if (record.type === 'mark') head.marks++
  else if (record.type === 'air') {
    const { type: _, ...air } = record
    head.air = air
  }
}
