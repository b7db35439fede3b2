import { defineConfig } from 'vitest/config'
import { findChromium } from './support/chromium.ts'

// Workers inherit this, so that the packed browser is unpacked once and not by two workers at a time.
process.env.CHROMIUM_PATH ??= await findChromium()
process.env.LC_ALL = 'en_US.UTF-8'

const project = (name: string, more: object = {}) => ({
  test: {
    name,
    include: [`tests/${name}/**/*.test.ts`],
    root: new URL('..', import.meta.url).pathname,
    ...more,
  },
})

/** Browser tests that measure time, or were seen to wait for ever beside another browser. */
const measured = ['driveLive', 'link', 'replay', 'secure', 'sound', 'stalledViewer'].map(
  (name) => `tests/browser/${name}.test.ts`,
)
const browser = { retry: 1, testTimeout: 120_000, hookTimeout: 120_000 }

export default defineConfig({
  test: {
    root: new URL('..', import.meta.url).pathname,
    reporters: ['default', new URL('./support/closingLine.ts', import.meta.url).pathname],
    projects: [
      // No unit test is timed: on a busy machine a property test of thousands of cases takes what it takes.
      project('unit', { testTimeout: 60_000, maxWorkers: 2 }),
      project('reference', { testTimeout: 60_000, maxWorkers: 2 }),
      // Tests that talk to a real browser, terminal or process get a second try on a busy machine; it is shown in the output.
      project('integration', { testTimeout: 60_000, hookTimeout: 60_000, retry: 1, maxWorkers: 2 }),
      project('fault', { testTimeout: 120_000, hookTimeout: 60_000, retry: 1, maxWorkers: 2 }),
      // Pages that are looked at, two at a time; then, with the machine to themselves, those on which frame rates and delays are measured.
      project('browser', { ...browser, maxWorkers: 2, exclude: measured, sequence: { groupOrder: 1 } }),
      project('browser, measured', {
        ...browser,
        include: measured,
        maxWorkers: 1,
        fileParallelism: false,
        maxConcurrency: 3,
        sequence: { groupOrder: 2 },
      }),
    ],
  },
})
