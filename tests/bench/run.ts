import { spawnSync } from 'node:child_process'
import { existsSync } from 'node:fs'

/*
 * Runs the benches one after the other, each in a process of its own, and prints their numbers: `npm run bench`, or `npm run bench -- NAME …`
 * for some of them. Takes hours on a small machine; an idle one gives the numbers that count.
 */

/** File in this folder and its words. */
const benches: Readonly<Record<string, readonly string[]>> = {
  decode: ['decode.ts'],
  bridge: ['bridge.ts'],
  browser: ['browser.ts'],
  // Two hours are the default of the file itself.
  tablet: ['tablet.ts', '--minutes', '20'],
  analyse: ['analyse.ts'],
  season: ['season.ts'],
  engine: ['engine.ts'],
  second: ['second/score.ts', 'all'],
  openings: ['openings.ts', 'second'],
  hints: ['signs.ts', 'hints'],
  alarms: ['alarms.ts', 'second', '20'],
  choke: ['signs.ts', 'choke'],
  pulls: ['signs.ts', 'pulls'],
  compare: ['compare.ts', '40', '0', 'simulator'],
  advise: ['advise.ts', '40', '0', 'simulator', 'all'],
  memory: ['memory.ts'],
  kill: ['kill.ts', '500'],
}

const asked = process.argv.slice(2)
const unknown = asked.filter((name) => !(name in benches))
if (unknown.length > 0) {
  console.error(`unknown bench: ${unknown.join(', ')} (expected ${Object.keys(benches).join(', ')})`)
  process.exit(2)
}

const here = new URL('.', import.meta.url).pathname
let failed = 0
for (const name of asked.length > 0 ? asked : Object.keys(benches)) {
  const [file, ...words] = benches[name]
  console.log(`\n== ${name}`)
  if (!existsSync(`${here}${file}`)) {
    console.log(`no ${file}: passed over`)
    continue
  }
  const done = spawnSync(process.execPath, ['--import', 'tsx', `${here}${file}`, ...words], {
    stdio: 'inherit',
  })
  if (done.status !== 0) failed++
}
process.exit(failed > 0 ? 1 : 0)
