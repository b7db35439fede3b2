import { createBoardDecoder } from '../../core/line/boardDecoder.ts'
import { listPorts, type PortEntry } from './listPorts.ts'
import { readPortFacts } from './portFacts.ts'
import { explainPortProblem } from './portProblem.ts'

export interface PortSurvey extends PortEntry {
  /** What was heard: `board: NAME at N baud`, `position receiver at N baud`, `other text at N baud: "…"`, `bytes that are no text`, `silent`, or `not opened`. */
  speaks: string
  baud?: number
  /** Why it could not be opened, and what to do. */
  problem?: string
}

/** A board repeats who it is at least every 250 ms, one of its lines in turn: 17 lines take 4 s; samples alone are told sooner. */
const listenMs = 1500
/** Speeds tried, the usual ones first. */
const speeds = [115_200, 921_600, 9600]
/** Tried only when something comes that cannot be read: a silent port is not waited for so long. */
const rarerSpeeds = [57_600, 38_400, 4800, 19_200, 230_400]
/** Of bytes at the right speed nearly all are printable; at a wrong one about a third are. Chosen here. */
const printableShare = 0.95
/** Fewer bytes say nothing about the speed. */
const leastBytes = 20
/** Of another source's text so many characters are shown. */
const shownCharacters = 40

/** Lists the serial ports and, when asked, listens to each for what it speaks. Opening restarts some boards. */
export async function surveyPorts({ listen }: { listen: boolean }): Promise<PortSurvey[]> {
  const ports = await listPorts()
  return await Promise.all(
    ports.map(async (port) => (listen ? await hear(port) : { ...port, speaks: 'not opened' })),
  )
}

/** Listens to one port at the usual speeds, and at rarer ones when bytes come that cannot be read. */
export async function hear(port: PortEntry): Promise<PortSurvey> {
  let hasBytes = false
  for (const baud of [...speeds, ...rarerSpeeds]) {
    if (rarerSpeeds.includes(baud) && !hasBytes) break
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

/** A line of printable text among what was heard; undefined when it is no text. */
export function readableLine(text: string): string | undefined {
  if (text.length < leastBytes) return undefined
  let printable = 0
  for (let i = 0; i < text.length; i++) {
    const code = text.charCodeAt(i)
    if ((code >= 0x20 && code < 0x7f) || code === 0x0a || code === 0x0d || code === 0x09) printable++
  }
  if (printable < printableShare * text.length) return undefined
  const lines = text.split(/[\r\n]+/)
  // The first and the last may be cut off.
  const line = (lines.length > 2 ? lines[1] : lines[0]).trim()
  let shown = ''
  for (const character of line) shown += character >= ' ' && character < '\x7f' ? character : '·'
  return shown.slice(0, shownCharacters)
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
