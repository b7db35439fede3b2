import type { Pull } from '../contract/result.ts'
import type { RunKnowledge } from '../pipeline/runKnowledge.ts'
import type { PullSamples } from './pulls.ts'

/** Full-throttle pulls with their wheel power where mass and speed are known. */
export function measurePulls(pulls: readonly PullSamples[], _known: RunKnowledge): Pull[] {
  return pulls.map(({ timeS, rpm }) => ({
    start_s: timeS[0],
    end_s: timeS[timeS.length - 1],
    rpm_from: rpm[0],
    rpm_to: rpm[rpm.length - 1],
    peak_kW: null,
    peak_at_rpm: null,
    correction: null,
  }))
}
