import type { Reporter, TestModule } from 'vitest/node'

/** Prints one plain closing line, whatever else is printed, so that any tool can read the outcome. */
export default class ClosingLine implements Reporter {
  onTestRunEnd(modules: readonly TestModule[]): void {
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
