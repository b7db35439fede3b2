import type { AnalysisResult } from '../contract/result.ts'
import { createDistance } from '../road/roadTrack.ts'
import { channelSlots as slot } from './channels.ts'
import type { ColumnStore } from './columnStore.ts'
import type { RunLessons } from './learnRun.ts'
import type { ReplayInput } from './replayInput.ts'
import type { RunFindings } from './runFindings.ts'

/** What the run is: its length, car, day, parts and what was learned of the car. */
export function describeRun(
  { known, file, stores }: ReplayInput,
  main: ColumnStore,
  { learned }: RunLessons,
): AnalysisResult['run'] {
  const distanceKm = distanceOf(stores)
  const seconds = main.end > main.first ? main.timeS[main.end - 1] - main.timeS[main.first] : 0
  const { start, zone, carName, metering, fuel, title, fitted, air, marks, notes, problems, stop } = known
  return {
    ...(file === undefined ? {} : { file }),
    ...(start === undefined ? {} : { start }),
    ...(zone === undefined ? {} : { zone }),
    seconds,
    ...(Number.isNaN(distanceKm) ? {} : { distance_km: distanceKm }),
    ...(carName === undefined ? {} : { car: carName }),
    ...(metering === undefined ? {} : { metering }),
    ...(fuel === undefined ? {} : { fuel }),
    ...(title === undefined ? {} : { title }),
    ...(fitted === undefined ? {} : { fitted }),
    ...(air === undefined ? {} : { air }),
    ...(stop === undefined ? {} : { stop }),
    marks,
    notes,
    learned: {
      throttle_rest_pct: numberOrNull(learned.throttleRestPct),
      warm_idle_rpm: learned.warmIdleRpm,
      warm_idle_from: learned.idleFrom,
      barometer_kPa: learned.barometerKpa,
      barometer_from: learned.barometerFrom,
      ...(learned.throttleNeedStretches > 0 || learned.throttleNeed !== 1
        ? { throttle_need: learned.throttleNeed, throttle_need_stretches: learned.throttleNeedStretches }
        : {}),
    },
    ...(problems.length > 0 ? { problems: [...problems] } : {}),
  }
}

/** Distance driven, km, by the first source that tells road speed; NaN without one. */
function distanceOf(stores: readonly ColumnStore[]): number {
  const store = stores.find((each) => each.columns[slot.road_speed] !== undefined)
  if (!store) return Number.NaN
  const distance = createDistance()
  const speeds = store.columns[slot.road_speed]!
  for (let i = store.first; i < store.end; i++) distance.add(store.timeS[i], speeds[i])
  return distance.metres() / 1000
}

const numberOrNull = (value: number) => (Number.isFinite(value) ? value : null)

/** How whole the record is. */
export function integrityOf(
  { counts, tornEnd }: ReplayInput,
  stores: readonly ColumnStore[],
  findings: RunFindings,
): AnalysisResult['integrity'] {
  const rows = stores.reduce((sum, store) => sum + store.end - store.first, 0)
  return {
    lines: counts?.lines ?? rows,
    samples: counts?.samples ?? rows,
    bad_checksum: counts?.badChecksum ?? 0,
    missing_samples: counts?.missingSamples ?? 0,
    gaps: findings.gaps,
    torn_end: tornEnd ?? false,
    unreadable: counts?.unreadable ?? 0,
    undeclared: counts?.undeclared ?? 0,
    restarts: counts?.restarts ?? 0,
    out_of_order: stores.reduce((sum, store) => sum + store.outOfOrder, 0),
  }
}

/** The result in a few figures. */
export function scorecardOf(result: AnalysisResult): AnalysisResult['scorecard'] {
  let seconds = 0
  let inside = 0
  for (const m of Object.values(result.mixture)) {
    if (m.inside_share === null) continue
    seconds += m.seconds
    inside += m.seconds * m.inside_share
  }
  const tipIns = result.transients.filter(({ kind, stumble }) => kind === 'tip_in' && stumble !== null)
  const stumbles = tipIns.filter(({ stumble }) => stumble === true).length
  const powers = result.pulls.map(({ peak_kW }) => peak_kW).filter((kW) => kW !== null)
  return {
    on_target_share: seconds > 0 ? inside / seconds : null,
    stumbles_per_100_tip_ins: tipIns.length > 0 ? (100 * stumbles) / tipIns.length : null,
    self_idle_s: result.warm_up?.self_idle_s ?? null,
    economy: null,
    peak_kW: powers.length > 0 ? Math.max(...powers) : null,
    spent: null,
  }
}
