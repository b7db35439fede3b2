import type { App } from '../state/app.ts'

/** What fills a page that lives of recorded runs. */
export interface FirstStep {
  text: string
  action: { label: string; onclick: () => void }
}

/** The next step of somebody without runs: connect something; once samples come, record them; then drive. */
export function firstStep({ link, reading, recording, router }: App): FirstStep {
  if (recording.status.on) {
    return {
      text: 'One is being recorded: it shows here once it is stopped.',
      action: { label: 'Drive', onclick: () => router.go('drive') },
    }
  }
  const isRead = link.sources.some(({ source, state }) => source === 0 && state === 'connected')
  return isRead && !reading.isStale
    ? {
        text: 'Samples come: record a drive.',
        action: { label: 'Before driving', onclick: () => router.go('check') },
      }
    : {
        text: 'Start the simulator or plug in the board.',
        action: { label: 'What is connected', onclick: () => router.go('check') },
      }
}
