import { createBoardDecoder } from '../../core/line/boardDecoder.ts'
import { listPorts, type PortEntry } from './listPorts.ts'
import { readPortFacts } from './portFacts.ts'
import { explainPortProblem } from './portProblem.ts'
import { readableLine } from './readableLine.ts'
import { usualSpeeds } from './speedSearch.ts'

export interface PortSurvey extends PortEntry {
  /** What was heard: `board: NAME at N baud`, `position receiver at N baud`, `other text at N baud: "…"`, `bytes that are no text`, `silent`, or `not opened`. */
  speaks: string
  baud?: number
  /** Why it could not be opened, and what to do. */
  problem?: string
}

/** A board repeats who it is at least every 250 ms, one of its lines in turn: 17 lines take 4 s; samples alone are told sooner. */
const listenMs = 1500
/** Of the usual speeds so many are tried on a silent port; the others only when something comes that cannot be read. */
const silentSpeeds = 3

/**
 * Lists the serial ports and, when asked, listens to each for what it speaks. Opening restarts some boards.
 * @param inUse ports that this bridge holds: they are not opened again
 */
export async function surveyPorts({
  listen,
  inUse = [],
}: {
  listen: boolean
  inUse?: readonly string[]
}): Promise<PortSurvey[]> {
  const ports = await listPorts()
  return await Promise.all(
    ports.map(async (port) => {
      if (inUse.includes(port.path)) return { ...port, speaks: 'in use by this bridge, see above' }
      return listen ? await hear(port) : { ...port, speaks: 'not opened' }
    }),
  )
}

/** Listens to one port at the usual speeds, and at rarer ones when bytes come that cannot be read. */
export async function hear(port: PortEntry): Promise<PortSurvey> {
  let hasBytes = false
  for (const [i, baud] of usualSpeeds.entries()) {
    if (i >= silentSpeeds && !hasBytes) break
    try {
      const heard = await hearAt(port.path, baud)
      if (heard.kind === 'known') return { ...port, speaks: `${heard.text} at ${baud} baud`, baud }
      if (heard.kind === 'text')
        return { ...port, speaks: `other text at ${baud} baud: "${heard.text}"`, baud }
      if (heard.kind === 'other') hasBytes = true
    } catch (error) {
      const { message } = explainPortProblem(port.path, error, readPortFacts(port.path))
      return { ...port, speaks: 'not opened', problem: message }
    }
  }
  return { ...port, speaks: hasBytes ? 'bytes that are no text at any usual speed' : 'silent' }
}

type Heard =
  | { kind: 'known'; text: string }
  | { kind: 'text'; text: string }
  | { kind: 'other' }
  | { kind: 'silent' }

async function hearAt(path: string, baudRate: number): Promise<Heard> {
  const { SerialPort } = await import('serialport')
  const port = new SerialPort({ path, baudRate, autoOpen: false })
  let name = ''
  const decoder = createBoardDecoder({
    emit: {
      block() {},
      identity(identity) {
        name = identity.boardName
      },
    },
  })
  let bytes = 0
  let text = ''
  port.on('error', () => {})
  port.on('data', (chunk: Buffer) => {
    bytes += chunk.length
    if (text.length < 2000) text += chunk.toString('latin1')
    decoder.push(chunk, performance.now() / 1000)
  })
  await new Promise<void>((resolve, reject) => port.open((error) => (error ? reject(error) : resolve())))
  try {
    port.write('?\n')
    const untilMs = performance.now() + listenMs
    while (performance.now() < untilMs && name === '') await new Promise((resolve) => setTimeout(resolve, 50))
  } finally {
    await new Promise<void>((resolve) => (port.isOpen ? port.close(() => resolve()) : resolve()))
  }
  const { lines, badChecksum, unreadable } = decoder.counts
  if (name !== '') return { kind: 'known', text: `board: ${name}` }
  if (lines - badChecksum - unreadable > 0) return { kind: 'known', text: 'board' }
  if (/\$G[A-Z]{4},/.test(text)) return { kind: 'known', text: 'position receiver' }
  const line = readableLine(text)
  if (line !== undefined) return { kind: 'text', text: line }
  return { kind: bytes > 0 ? 'other' : 'silent' }
}
