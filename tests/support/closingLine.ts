import type { Reporter, TestModule } from 'vitest/node'
import { checkTable } from './screenChecks.ts'

/** Prints the table of the screen's checks, and one plain closing line, whatever else is printed, so that any tool can read the outcome. */
export default class ClosingLine implements Reporter {
  onTestRunEnd(modules: readonly TestModule[]): void {
    printChecks(modules)
    let passed = 0
    let failed = 0
    let skipped = 0
    for (const module of modules) {
      const tests = [...module.children.allTests()]
      if (tests.length === 0 && module.state() === 'failed') failed++
      for (const test of tests) {
        const state = test.result().state
        if (state === 'passed') passed++
        else if (state === 'failed') failed++
        else skipped++
      }
    }
    console.log(`\n${passed} passed, ${failed} failed, ${skipped} skipped`)
  }
}

function printChecks(modules: readonly TestModule[]): void {
  const { lines, missing } = checkTable(modules)
  if (lines.length > 0) console.log(`\nchecks of the screen\n${lines.join('\n')}`)
  if (missing.length === 0) return
  console.log(`  never measured: ${missing.join(', ')}`)
  process.exitCode = 1
}
