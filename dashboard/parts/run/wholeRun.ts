import { type CarProfile, defaultTargets } from '../../../core/contract/car.ts'
import type { AnalysisResult, MixtureState, OperatingState } from '../../../core/contract/result.ts'
import { type ChannelView, channelView, withTarget } from '../../words/channelWords.ts'
import type { MixtureUnit } from '../../words/mixtureUnit.ts'
import type { UnitChoices } from '../../words/units.ts'
import type { TraceAnswer, TraceChannel } from '../../worker/messages.ts'
import type { ChartSeries } from '../chartSeries.ts'
import { stripData } from '../traceData.ts'

/** Standard atmosphere, kPa: for vacuum where a run has no barometer. */
const standardKpa = 101.325
/** λ that the charts of mixture show: what an engine runs with. */
const shownLambda = [0.7, 1.3] as const

/** One channel of a run as its charts show it. */
export interface RunStrip extends ChannelView {
  series: ChartSeries[]
}

/** A channel in the chosen unit; the worked-out mixture gets its target's line. */
export function runStrip(
  channel: TraceChannel,
  choices: UnitChoices,
  mixture: MixtureUnit,
  ofBank = 'mixture',
): RunStrip {
  const isMixture = withTarget(channel.name)
  const view = isMixture
    ? { ...channelView(channel, [], {}), ...mixtureView(mixture), label: ofBank }
    : channelView(channel, choices, { barometerKpa: standardKpa, stoichiometricRatio: mixture.of(1) })
  const { label, unit, decimals } = view
  const series: ChartSeries[] = [{ label, unit, decimals }]
  if (isMixture) series.push({ label: 'target', unit, role: 'quiet', dash: [2, 4], decimals })
  return { ...view, series }
}

function mixtureView({ symbol, decimals, of }: MixtureUnit): Omit<ChannelView, 'name' | 'label'> {
  return { unit: symbol, decimals, convert: of }
}

/** Range of a mixture chart in the chosen unit. */
export function mixtureRange({ of }: MixtureUnit): readonly [number, number] {
  const ends = shownLambda.map(of)
  return [Math.min(...ends), Math.max(...ends)]
}

export interface DrawnStrip {
  data: [Float64Array, ...(number | null | undefined)[][]]
  least: number
  most: number
}

/** A channel's columns ready for its chart, in the shown unit; undefined when the answer lacks it. */
export function drawnStrip(
  answer: TraceAnswer,
  { name, convert }: RunStrip,
  states: AnalysisResult['states'],
  car: CarProfile | undefined,
): DrawnStrip | undefined {
  const index = answer.channels.indexOf(name)
  if (index < 0) return undefined
  const { data, least, most } = stripData(answer, [index], convert)
  if (!withTarget(name)) return { data, least, most }
  const targets = targetsAt(data[0], states, car).map((lambda) => (lambda === null ? null : convert(lambda)))
  return { data: [...data, targets], least, most }
}

/** Target λ of a state of this car; NaN for states without one, and where nobody knows which state rules. */
export function targetOf(car: CarProfile | undefined, state: OperatingState): number {
  const targets = { ...defaultTargets, ...car?.targets }
  // The warm-up's target moves with the coolant: no single line for it.
  if (state === 'warm_up') return Number.NaN
  return targets[state as Exclude<MixtureState, 'running'>]?.lambda ?? Number.NaN
}

/** Target at each of the times, by the state that ruled then; `null` where there is none. Times ascend. */
export function targetsAt(
  timeS: ArrayLike<number>,
  states: AnalysisResult['states'],
  car: CarProfile | undefined,
): (number | null)[] {
  const line: (number | null)[] = new Array(timeS.length)
  let span = 0
  for (let i = 0; i < timeS.length; i++) {
    while (span < states.length && states[span].end_s <= timeS[i]) span++
    const now = states[span]
    const target = now && now.start_s <= timeS[i] ? targetOf(car, now.state) : Number.NaN
    line[i] = Number.isNaN(target) ? null : target
  }
  return line
}
