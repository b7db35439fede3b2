import { join } from 'node:path'
import { afterEach, describe, expect, it } from 'vitest'
import type { Clock } from '../../bridge/clock.ts'
import type { Source, SourceSink } from '../../bridge/source/source.ts'
import type { BridgeAlarm } from '../../core/contract/stream.ts'
import {
  boardSetup,
  type RunningBridge,
  readCapture,
  startBridge,
  TestPage,
  until,
} from '../support/bridgeHarness.ts'
import { createTestBoard } from '../support/testBoard.ts'

let running: RunningBridge
let page: TestPage
const timers: NodeJS.Timeout[] = []

afterEach(async () => {
  for (const timer of timers.splice(0)) clearInterval(timer)
  page.close()
  await running.stop()
})

const newest = (): BridgeAlarm[] => page.of('alarm').at(-1)?.alarms ?? []

describe('what only the bridge sees', () => {
  it('a disk that is nearly full reaches every page, also one that comes later, and the run', async () => {
    let freeBytes = 1e12
    running = await startBridge({ measureFree: () => Promise.resolve(freeBytes), diskEveryS: 0.1 })
    await running.bridge.startRecording(false)
    page = new TestPage(running.port)
    await until(() => page.of('alarm').length > 0, 'a first word')
    expect(newest()).toEqual([])
    freeBytes = 3e6
    await until(() => newest().length === 1, 'the alarm')
    expect(newest()).toMatchObject([{ code: 'disk_nearly_full', priority: 'caution', worst: 3e6 }])
    const late = new TestPage(running.port)
    await until(() => late.of('alarm')[0]?.alarms.length === 1, 'a late page knows')
    late.close()
    freeBytes = 1e12
    await until(() => newest().length === 0, 'it is over')
    const { run } = await running.bridge.recorder.stop('test over')
    const notices = (await readCapture(join(running.dataDir, String(run)))).match(/ ! .*/g)
    expect(notices?.[0]).toContain('"what":"alarm","code":"disk_nearly_full"')
    expect(notices?.[1]).toContain('"what":"alarm_over"')
  })

  it('the free space that the system tells is a number', async () => {
    running = await startBridge()
    page = new TestPage(running.port)
    const { measureFreeBytes } = await import('../../bridge/watch/freeSpace.ts')
    expect(await measureFreeBytes(running.dataDir)).toBeGreaterThan(0)
    expect(await measureFreeBytes('/nowhere/at/all')).toBeNaN()
  })

  it('a board whose clock runs two per cent slow is told of, one that keeps time is not', async () => {
    // Ten seconds of the bridge in one: a minute must be seen.
    const startMs = performance.now()
    const clock: Clock = { nowS: () => (performance.now() - startMs) / 100, wallMs: () => Date.now() }
    for (const pace of [1, 0.98]) {
      const board = createTestBoard({ rateHz: 100 })
      let sink: SourceSink | undefined
      const source: Source = {
        name: 'hand',
        canAsk: false,
        start(given) {
          sink = given
          given.wire('open', 'fed by a test')
        },
        write: () => false,
        reopen() {},
        stop: () => Promise.resolve(),
      }
      running = await startBridge({ clock, sources: [boardSetup(source, { silence: { reopenS: 0 } })] })
      page = new TestPage(running.port)
      sink?.bytes(Buffer.from(board.greeting(), 'latin1'), clock.nowS())
      const beganS = clock.nowS()
      timers.push(
        setInterval(() => {
          const due = Math.floor((clock.nowS() - beganS) * 100 * pace) - board.sent
          if (due > 0) sink?.bytes(Buffer.from(board.samples(due), 'latin1'), clock.nowS())
        }, 10),
      )
      if (pace === 1) {
        await until(() => clock.nowS() - beganS > 75, 'more than a minute')
        expect(newest()).toEqual([])
        page.close()
        await running.stop()
      } else {
        await until(() => newest().length > 0, 'the advisory')
        expect(newest()).toMatchObject([{ code: 'board_clock_drift', priority: 'advisory' }])
        expect(newest()[0].worst).toBeGreaterThan(0.015)
        expect(newest()[0].worst).toBeLessThan(0.03)
      }
    }
  })
})
