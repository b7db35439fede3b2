import { createBoardDecoder } from '../../core/line/boardDecoder.ts'
import { listPorts, type PortEntry } from './listPorts.ts'
import { readPortFacts } from './portFacts.ts'
import { explainPortProblem } from './portProblem.ts'

export interface PortSurvey extends PortEntry {
  /** What was heard: `board: NAME at N baud`, `position receiver`, `another format`, `silent`, or `not opened`. */
  speaks: string
  baud?: number
  /** Why it could not be opened, and what to do. */
  problem?: string
}

/** A board repeats who it is at least every 250 ms, one of its lines in turn: 17 lines take 4 s; samples alone are told sooner. */
const listenMs = 1500
/** Speeds tried, the usual ones first. */
const speeds = [115_200, 921_600, 9600]

/** Lists the serial ports and, when asked, listens to each for what it speaks. Opening restarts some boards. */
export async function surveyPorts({ listen }: { listen: boolean }): Promise<PortSurvey[]> {
  const ports = await listPorts()
  return await Promise.all(
    ports.map(async (port) => (listen ? await hear(port) : { ...port, speaks: 'not opened' })),
  )
}

async function hear(port: PortEntry): Promise<PortSurvey> {
  let other: PortSurvey | undefined
  for (const baud of speeds) {
    try {
      const heard = await hearAt(port.path, baud)
      if (heard.kind === 'known') return { ...port, speaks: `${heard.text} at ${baud} baud`, baud }
      if (heard.kind === 'other') other = { ...port, speaks: 'another format, or another speed' }
    } catch (error) {
      const { message } = explainPortProblem(port.path, error, readPortFacts(port.path))
      return { ...port, speaks: 'not opened', problem: message }
    }
  }
  return other ?? { ...port, speaks: 'silent' }
}

type Heard = { kind: 'known'; text: string } | { kind: 'other' } | { kind: 'silent' }

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
  return { kind: bytes > 0 ? 'other' : 'silent' }
}
