/*
 * How often comparing two runs is right, on the simulator or the second engine. A line of JSON for each car, then the table; --merge prints
 * the table of lines from several parts.
 *   tsx tests/bench/compare.ts [cars] [first seed] [simulator|second]
 *   tsx tests/bench/compare.ts --merge FILE…
 */
import { readFileSync } from 'node:fs'
import { comparePairs, type PairRow, printPairs } from './comparePairs.ts'
import { simulatedPairCar } from './pairCars.ts'
import { secondPairCar } from './second/pairCars.ts'

const words = process.argv.slice(2)
const rows: PairRow[] = []
if (words[0] === '--merge') {
  for (const path of words.slice(1)) {
    for (const line of readFileSync(path, 'utf8').split('\n')) {
      if (line.startsWith('{')) rows.push(JSON.parse(line))
    }
  }
} else {
  const [count = '10', first = '0', engine = 'simulator'] = words
  for (let seed = Number(first); seed < Number(first) + Number(count); seed++) {
    const row = comparePairs(engine, engine === 'second' ? secondPairCar(seed) : simulatedPairCar(seed))
    rows.push(row)
    console.log(JSON.stringify(row))
  }
}
printPairs(rows)
