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
      project('browser', {
        retry: 1,
        testTimeout: 120_000,
        hookTimeout: 120_000,
        maxWorkers: 1,
        fileParallelism: false,
        maxConcurrency: 3,
        // Frame rates and delays are measured there: the machine is its own, after all else. Two at a time take longer on two processors.
        sequence: { groupOrder: 1 },
      }),
    ],
  },
})
