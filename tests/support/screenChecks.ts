import { readdirSync } from 'node:fs'
import { basename } from 'node:path'
import { type RunnerTestCase, TestRunner } from 'vitest'

/** What is asked of the screen, by id. Each id must be measured by a browser test; the table at the end of a run shows the value. */
export const screenChecks = {
  F1: 'mixture number at least 160 px',
  F2: 'helpers, words and least text large enough',
  F3: 'sizes hold at other pixels an inch',
  F4: 'digits of equal width and weight',
  F5: 'nothing scrolls, overflows or is cut',
  C1: 'contrast of text and of shapes',
  C2: 'rich, lean and on target differ without colour',
  C3: 'night stays dark',
  C4: 'forced colours',
  T1: 'size and distance of controls',
  T2: 'mark by one tap anywhere',
  T3: 'set-up inert, leaving asks',
  T4: 'one tap, short texts, nothing moves by itself',
  M1: 'reduced motion',
  M2: 'flash rate and length',
  N1: 'digits, strip, frames and heap over ten minutes',
  A1: 'lean under load in time',
  A2: 'spikes, chatter, clearing',
  A3: 'two alarms at once',
  A4: 'no mixture alarm without trust',
  A5: 'sound off is shown',
  S1: 'source stops and comes back',
  S2: 'bridge killed and started again',
  S3: 'silent cut, hidden page',
  S4: 'insecure origin',
  S5: 'one stalled viewer',
  K1: 'replay by keyboard',
  K2: 'scrubber',
  X1: 'charts and alarms for readers',
  P1: 'print',
  D1: 'delimited export',
  E1: 'states of each page',
} as const

/** Further checks of ours that are shown in the same table. */
const ownChecks = ['axe', 'A6', 'OFF', 'TLS', 'WAKE', 'AFR'] as const

export type ScreenCheck = keyof typeof screenChecks | (typeof ownChecks)[number]

interface CheckRow {
  id: ScreenCheck
  measured: string
  isMet: boolean
  /** Number of the try: a second one makes the first one's rows void. */
  attempt: number
}

declare module 'vitest' {
  interface TaskMeta {
    screenChecks?: CheckRow[]
  }
}

/** Notes a measured value with the test that is running, for the table at the end; where several run beside each other it must be told which. */
export function noteCheck(
  id: ScreenCheck,
  measured: string,
  isMet: boolean,
  test: Pick<RunnerTestCase, 'meta' | 'result'> | undefined = TestRunner.getCurrentTest(),
): void {
  if (!test) throw new Error(`check ${id} outside a test`)
  const rows = test.meta.screenChecks ?? []
  test.meta.screenChecks = rows
  rows.push({ id, measured, isMet, attempt: test.result?.retryCount ?? 0 })
}

interface RunModule {
  readonly moduleId: string
  readonly children: { allTests(): Iterable<{ meta(): { screenChecks?: CheckRow[] } }> }
}

/** The table of a whole run: every id with what was measured. Ids that nobody measured count only when every browser test ran. */
export function checkTable(modules: readonly RunModule[]): { lines: string[]; missing: string[] } {
  const rows = modules.flatMap(({ children }) =>
    [...children.allTests()].flatMap((test) => lastTry(test.meta())),
  )
  const lines: string[] = []
  const missing: string[] = []
  for (const id of [...Object.keys(screenChecks), ...ownChecks] as ScreenCheck[]) {
    const own = rows.filter((row) => row.id === id)
    if (own.length === 0 && id in screenChecks) missing.push(id)
    for (const { measured, isMet } of own)
      lines.push(`  ${id.padEnd(5)}${isMet ? 'pass' : 'FAIL'}  ${measured}`)
  }
  return { lines, missing: isWhole(modules) ? missing : [] }
}

function lastTry({ screenChecks: rows = [] }: { screenChecks?: CheckRow[] }): CheckRow[] {
  const attempt = Math.max(...rows.map((row) => row.attempt))
  return rows.filter((row) => row.attempt === attempt)
}

function isWhole(modules: readonly RunModule[]): boolean {
  const ran = new Set(modules.map(({ moduleId }) => basename(moduleId)))
  const files = readdirSync(new URL('../browser/', import.meta.url)).filter((name) =>
    name.endsWith('.test.ts'),
  )
  return files.every((name) => ran.has(name))
}
