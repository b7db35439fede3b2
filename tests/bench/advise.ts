/*
 * The closed loop of advice on random cars with wrong set-ups, beside one size at a time and the bare area rule. A line of JSON for each car
 * and rule, then the table; --merge prints the table of lines from several parts.
 *   tsx tests/bench/advise.ts [cars] [first seed] [simulator|cold|second] [advice|all]
 *   tsx tests/bench/advise.ts --merge FILE…
 */
import { readFileSync } from 'node:fs'
import { follow, type LoopRow, printTable, rules } from './closedLoop.ts'
import { simulatedLoopCar } from './loopCars.ts'
import { secondLoopCar } from './second/loopCars.ts'

const words = process.argv.slice(2)
const rows: LoopRow[] = []
if (words[0] === '--merge') {
  for (const path of words.slice(1)) {
    for (const line of readFileSync(path, 'utf8').split('\n')) {
      if (line.startsWith('{')) rows.push(JSON.parse(line))
    }
  }
} else {
  const [count = '10', first = '0', engine = 'simulator', which = 'all'] = words
  const names = Object.keys(rules).filter((name) => which === 'all' || name === which)
  for (let seed = Number(first); seed < Number(first) + Number(count); seed++) {
    const car = engine === 'second' ? secondLoopCar(seed) : simulatedLoopCar(seed, engine === 'cold')
    for (const name of names) {
      const row = follow(engine, car, name)
      rows.push(row)
      console.log(JSON.stringify(row))
    }
  }
}
printTable(rows)
