import type { App } from '../state/app.ts'

export interface CheckLineView {
  name: 'board' | 'sensor' | 'recording' | 'screen' | 'sound' | 'clock'
  title: string
  isRight: boolean
  word: string
  /** What to do when it is not right. */
  todo: string
}

/** Clocks of this screen and the bridge may differ so much before it is worth a word, s. */
const clockToleranceS = 5

/** Nobody looks for the way to mark on the road. */
const markHint = 'To mark a moment on Drive: any key, or a tap on the lowest slat.'

/** The six lines before moving off, in the order a person would look. */
export function checkLines(app: App): CheckLineView[] {
  return [
    boardLine(app),
    sensorLine(app),
    recordingLine(app),
    screenLine(app),
    soundLine(app),
    clockLine(app),
  ]
}

/** Cut off from the bridge the page knows no more than what was told before. */
const notTold = { isRight: false, word: 'not known' } as const

function boardLine({ link, reading }: App): CheckLineView {
  if (!link.isOpen) return { name: 'board', title: 'Board', ...notTold, todo: 'No link to the bridge.' }
  const status = link.sources.find((source) => source.source === 0)
  const isRight = status?.state === 'connected' && !reading.isStale
  const bad = status ? status.counts.badChecksum + status.counts.unreadable : 0
  const dirt = bad > 0 ? `, ${bad} damaged lines so far` : ''
  return {
    name: 'board',
    title: 'Board',
    isRight,
    word: isRight
      ? `${status.name}, ${Math.round(status.rateHz)} samples a second${dirt}`
      : (status?.state ?? 'none'),
    todo: isRight ? '' : status?.text || 'Plug in the board, or start the simulator.',
  }
}

function sensorLine({ reading }: App): CheckLineView {
  const bank = reading.digits?.banks[0]
  const why = bank ? bank.untrusted : 'no_sensor'
  const isRight = why === undefined || why === 'overrun' || why === 'delay_edge'
  // Without a board nobody knows how the sensor is.
  if (reading.isStale) {
    return {
      name: 'sensor',
      title: 'Sensor',
      isRight: false,
      word: 'not known',
      todo: 'The board tells of it.',
    }
  }
  const words: Record<string, string> = {
    warming: Number.isNaN(bank?.warmingPct ?? Number.NaN)
      ? 'warming'
      : `warming, ${Math.round(bank!.warmingPct)} %`,
    fault: 'fault',
    gap: 'no data',
    no_sensor: 'no reading',
    out_of_range: 'off the scale',
  }
  return {
    name: 'sensor',
    title: 'Sensor',
    isRight,
    word: isRight ? 'hot and reading' : (words[why ?? ''] ?? 'no reading'),
    todo: isRight
      ? ''
      : why === 'warming'
        ? 'It reads by itself once it is hot.'
        : 'Look at its plug and wires.',
  }
}

function recordingLine({ link, recording }: App): CheckLineView {
  if (!link.isOpen) {
    return {
      name: 'recording',
      title: 'Recording',
      ...notTold,
      todo: 'The bridge records without this page: what was on goes on.',
    }
  }
  const { on, problem } = recording.status
  return {
    name: 'recording',
    title: 'Recording',
    isRight: on,
    word: on ? `on, ${recording.elapsedText}` : 'off',
    todo: recording.problem || problem || (on ? markHint : 'Start it now, before the key.'),
  }
}

function screenLine({ screen }: App): CheckLineView {
  const [, word = '', ...rest] = screen.text.split(/: | – /)
  return {
    name: 'screen',
    title: 'Screen stays on',
    isRight: screen.state === 'held',
    word,
    todo: rest.join(' – '),
  }
}

function soundLine({ sound, settings }: App): CheckLineView {
  const { soundHeard } = settings.values
  const isRight = sound.isOn && soundHeard
  return {
    name: 'sound',
    title: 'Sound',
    isRight,
    word: sound.isOn ? (soundHeard ? 'on, heard' : 'on, not yet heard') : 'off',
    todo: isRight ? '' : 'Test it; look at the volume and at the silent switch.',
  }
}

function clockLine({ link }: App): CheckLineView {
  const driftS = link.clockDriftS
  const isRight = Math.abs(driftS) <= clockToleranceS
  return {
    name: 'clock',
    title: 'Clock',
    isRight,
    word: isRight
      ? 'agrees with this screen'
      : `differs by ${Math.round(Math.abs(driftS))} s from this screen`,
    todo: isRight ? '' : "Runs carry the bridge's time: set its clock.",
  }
}
