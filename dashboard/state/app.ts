import { createContext } from 'svelte'
import RunWorker from '../worker/runWorker.ts?worker'
import { Alarms } from './alarms.svelte.ts'
import { Clock } from './clock.svelte.ts'
import { Link } from './link.svelte.ts'
import { Motion } from './motion.svelte.ts'
import { Reading } from './reading.svelte.ts'
import { Recording } from './recording.svelte.ts'
import { Router } from './router.svelte.ts'
import { Runs } from './runs.svelte.ts'
import { RunsWorker } from './runsWorker.svelte.ts'
import { Screen } from './screen.svelte.ts'
import { Settings } from './settings.svelte.ts'
import { Sound } from './sound.svelte.ts'

/** Everything that lives as long as the page, made once near the root and handed down by context. */
export interface App {
  readonly router: Router
  readonly settings: Settings
  readonly clock: Clock
  readonly reading: Reading
  readonly motion: Motion
  readonly recording: Recording
  readonly link: Link
  readonly sound: Sound
  readonly screen: Screen
  readonly alarms: Alarms
  readonly runs: Runs
}

export function createApp(): App {
  const clock = new Clock()
  const reading = new Reading(clock)
  const recording = new Recording(clock)
  const sound = new Sound()
  const alarms = new Alarms(clock, sound)
  const link = new Link(clock, reading, recording, alarms)
  return {
    router: new Router(),
    settings: new Settings(),
    clock,
    reading,
    motion: new Motion(reading, () => link.sources.some((source) => source.pretend)),
    recording,
    link,
    sound,
    screen: new Screen(),
    alarms,
    runs: new Runs(new RunsWorker(() => new RunWorker())),
  }
}

export const [getApp, setApp] = createContext<App>()
