import type { AnalysisResult, RunAnalysis } from '../contract/result.ts'
import type { CircuitVerdict } from './circuitVerdict.ts'
import { circuitVerdicts } from './circuitVerdicts.ts'
import { asRunAnalysis } from './evidence.ts'
import { JUDGED_LAST } from './otherCircuits.ts'
import { tellsSpeed } from './runObservations.ts'

const COUNT_WORDS = ['No', 'One', 'Two', 'Three', 'Four', 'Five', 'Six', 'Seven']

/** The answer of a run in one sentence: `Two circuits are off; the others are where they belong`. */
export function verdictHeadline(from: RunAnalysis | AnalysisResult | readonly CircuitVerdict[]): string {
  if (isRows(from)) return headlineOf(from)
  const run = asRunAnalysis(from)
  if (!tellsSpeed(run)) return 'The board sends no engine speed: circuits cannot be told apart'
  return headlineOf(circuitVerdicts(run))
}

const isRows = (from: unknown): from is readonly CircuitVerdict[] => Array.isArray(from)

function headlineOf(rows: readonly CircuitVerdict[]): string {
  const off = rows.filter((row) => row.verdict === 'rich' || row.verdict === 'lean')
  const open = rows.filter((row) => row.verdict === 'not_enough_data' && row.words !== JUDGED_LAST)
  const fine = rows.filter((row) => row.verdict === 'on_target').length
  const isLoadMissing = open.length > 0 && open.every((row) => row.lacksLoad)
  if (off.length === 0 && fine === 0) {
    return isLoadMissing
      ? 'Without throttle or manifold pressure no circuit can be judged'
      : 'Not enough steady driving to judge any circuit'
  }
  const rest =
    open.length === 0
      ? off.length === rows.length
        ? ''
        : '; the others are where they belong'
      : isLoadMissing
        ? '; the others need throttle or manifold pressure'
        : fine === 0
          ? '; the others need more driving'
          : `; ${COUNT_WORDS[open.length].toLowerCase()} need${open.length === 1 ? 's' : ''} more driving`
  if (off.length === 0) {
    return open.length === 0
      ? 'Every circuit is where it belongs'
      : `What was driven is where it belongs${rest}`
  }
  if (off.length === rows.length && rows.length > 1) return 'Every circuit is off'
  return `${COUNT_WORDS[off.length]} circuit${off.length === 1 ? ' is' : 's are'} off${rest}`
}
