/*
 * Scores the whole chain on the second engine: analysis, comparison and the closed loop of advice.
 *   tsx tests/bench/second/score.ts [analyse|compare|advise] [cars] [first]
 */
import { scoreAdvice } from './scoreAdvice.ts'
import { scoreAnalysis } from './scoreAnalysis.ts'
import { scoreCompare } from './scoreCompare.ts'

const [what = 'all', cars = '20', first = '0'] = process.argv.slice(2)
if (what === 'analyse' || what === 'all') scoreAnalysis(Number(cars), Number(first))
if (what === 'compare' || what === 'all') scoreCompare(Number(cars), Number(first))
if (what === 'advise' || what === 'all') scoreAdvice(Number(cars), Number(first))
