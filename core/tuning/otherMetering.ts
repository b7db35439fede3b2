import type { CarProfile } from '../contract/car.ts'
import type { RunAnalysis } from '../contract/result.ts'

type Metering = NonNullable<CarProfile['metering']>

const nameOf: Readonly<Record<Metering, string>> = {
  carburettor: 'carburettor',
  throttle_body_injection: 'injection',
}

/** The runs of a car that was converted, in their order: those that speak of what feeds it now, and what is to be said of the others. */
export interface MeteredRuns {
  readonly runs: readonly RunAnalysis[]
  readonly said: readonly string[]
}

/**
 * Leaves out the runs that the car drove with another kind of metering than its profile names now, as their own records have it. A run that names none
 * counts as of now. Where none is left, the newest one stands there untold: it tells what was driven, and nothing of the mixture.
 */
export function runsOfMetering(runs: readonly RunAnalysis[], car: CarProfile | undefined): MeteredRuns {
  const now = car?.metering ?? 'carburettor'
  const kept = runs.filter((run) => (run.result.run.metering ?? run.car?.metering ?? now) === now)
  const left = runs.length - kept.length
  if (left === 0) return { runs, said: [] }
  const before = nameOf[now === 'carburettor' ? 'throttle_body_injection' : 'carburettor']
  if (kept.length > 0) {
    const what = left === 1 ? 'One run is left out: it was' : `${left} runs are left out: they were`
    return { runs: kept, said: [`${what} recorded with the ${before}.`] }
  }
  return {
    runs: [untold(runs[runs.length - 1])],
    said: [`No run is recorded with the ${nameOf[now]} yet, and those with the ${before} say nothing of it.`],
  }
}

function untold(run: RunAnalysis): RunAnalysis {
  const { mixture_2: _second, ...result } = run.result
  return {
    ...run,
    pieces: [],
    result: { ...result, mixture: {}, transients: [], warm_up: null, trust: { ...result.trust, hints: [] } },
  }
}
