import type { CarProfile } from '../../../core/contract/car.ts'
import type { AnalysisResult } from '../../../core/contract/result.ts'

/** What a run taught that stands in its car's profile: the transport delay, and the throttle need where no pressure told the load. */
export function lessonsOf({ delay, run }: AnalysisResult): Pick<CarProfile, 'delay' | 'throttle_need'> {
  const { a_s, b_s_rpm_kPa, events_used } = delay
  const { throttle_need: factor, throttle_need_stretches: stretches = 0 } = run.learned ?? {}
  return {
    delay: { a_s, b_s_rpm_kPa, events_used },
    ...(factor !== undefined && stretches > 0 ? { throttle_need: { factor, stretches } } : {}),
  }
}
