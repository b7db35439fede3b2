import type { AdviceResult } from '../contract/advice.ts'
import type { RunAnalysis } from '../contract/result.ts'
import { sentenceStart } from '../units/format.ts'
import { distanceWords, type MixtureUnit } from '../units/mixtureUnit.ts'
import {
  distanceOut,
  isLeanPower,
  KNOWN_WELL,
  LEAST_SECONDS,
  STRONG_SHARE,
  secondsOf,
  TOO_WIDE,
} from './adviceStates.ts'
import { drivingWords } from './drivingWords.ts'
import { LEAST_NEEDED_S, lackingDrives, mayAskAgain } from './furtherDriving.ts'
import { tellsLoad } from './loadTold.ts'
import type { AdviceState } from './partPaths.ts'
import { type Band, shareInside } from './planCost.ts'
import type { ResponseModel } from './responseModel.ts'
import { type ObservedRun, tellsSpeed } from './runObservations.ts'
import { stateWords } from './stateWords.ts'

/** What more driving must tell, and what it was asked to tell and did not. */
export interface Needs {
  readonly needs: NonNullable<AdviceResult['needs']>
  /** States that nothing more is asked for: two drives in a row lacked them, or many drives left them open. */
  readonly notJudged: readonly { state: AdviceState; text: string }[]
}

interface NeedsInput {
  model: ResponseModel
  bands: ReadonlyMap<AdviceState, Band>
  known: ReadonlyMap<AdviceState, Band>
  observed: readonly ObservedRun[]
  /** A change is advised now: the drive after it tells of the states near an edge. */
  hasChange: boolean
  /** States that decide about a part and are not known well enough. */
  unclear: readonly AdviceState[]
  today: RunAnalysis
  /** How sentences give the mixture. */
  unit: MixtureUnit
}

/** Chance inside the band that a state needs to be called finished, if its estimate lies inside. */
export const SURE_ENOUGH = 0.75
/** Longest drive that is asked for in one state, s. */
const MOST_NEEDED_S = 120
/** The same of full throttle, s: what four or five pulls in one gear have. Common practice, no source. */
const MOST_POWER_S = 30
/** Chance inside the band from which a state is left alone though few seconds tell of it. Chosen here. */
const PLAINLY_INSIDE = 0.9
/** Why no driving helps a board that tells λ alone. */
const NO_SPEED = 'the board sends no engine speed: idle, cruise and power cannot be told apart'
const connectSpeed = { state: 'running', seconds: LEAST_NEEDED_S, channel: 'engine_speed', why: NO_SPEED }
const NO_LOAD =
  'Power not judged: without throttle or manifold pressure nobody knows how hard the engine works.'

const NOTE_AIR =
  ', since the air of the day is not known: note temperature and pressure, then little driving will do'

/** What must be driven before the states can be judged, or called finished; and what must stay open. */
export function findNeeds(input: NeedsInput): Needs {
  const { model, bands, known, observed } = input
  const needs: NonNullable<AdviceResult['needs']> = []
  const notJudged: { state: AdviceState; text: string }[] = []
  const hasLoad = observed.some(({ run }) => tellsLoad(run))
  if (!hasLoad && !tellsSpeed(input.today)) return { needs: [connectSpeed], notJudged }
  for (const [state, band] of bands) {
    if ((state === 'running') === hasLoad && state !== 'idle') continue
    // A state that nothing fitted can move is told, not waited for.
    const isFed =
      model.paths.length === 0 || model.paths.some((path) => path.share[state] && isStrong(path.share[state]))
    if (!isFed) continue
    const words = stateWords[state] ?? state
    const name = sentenceStart(words)
    const lacking = lackingDrives(observed, state)
    const now = known.has(state) ? model.forecast(state, model.base) : undefined
    if (!now) {
      if (lacking) notJudged.push({ state, text: `${name} not judged: no ${drivingWords[state]} seen.` })
      else needs.push({ state, seconds: state === 'idle' ? 30 : 20, why: `no steady ${words} was seen` })
      continue
    }
    const want = wantOf(input, state, band, now)
    // Nobody is sent to full throttle that was measured lean.
    const wasLean = isLeanPower(state, now, band) && distanceOut(model, state, band) > 1
    if (!want || (wasLean && !want.isOpen)) continue
    if (mayAskAgain(observed, state)) needs.push({ state, ...want.need })
    else if (want.isOpen || (lacking && want.isOut)) {
      const wasSeen = !lacking || lacking.some((entry) => entry.logLambda[state])
      const why = wasSeen
        ? `known only to ± ${halfWord(now, input.unit)}`
        : `no ${drivingWords[state]} seen with today's parts`
      notJudged.push({ state, text: `${name} not judged: ${why}.` })
    }
  }
  if (!hasLoad) notJudged.push({ state: 'power', text: NO_LOAD })
  // What today's board cannot tell apart, more driving with it does not tell either.
  if (needs.length > 0 && !tellsSpeed(input.today)) needs.unshift(connectSpeed)
  return { needs, notJudged }
}

/** Driving that would tell a seen state better, undefined when enough is known of it. `isOpen`: until then it cannot be judged at all; `isOut`: its estimate lies outside. */
function wantOf(
  { observed, hasChange, unclear, unit }: NeedsInput,
  state: AdviceState,
  band: Band,
  now: { mean: number; sd: number },
): { isOpen: boolean; isOut: boolean; need: { seconds: number; why: string } } | undefined {
  const words = stateWords[state] ?? state
  const half = (band.high - band.low) / 2
  const seconds = secondsOf(observed, state)
  const isInside = now.mean <= band.high && now.mean >= band.low
  const surelyOutside = now.mean - 1.96 * now.sd > band.high || now.mean + 1.96 * now.sd < band.low
  const isPlain = isInside && shareInside(now, band) >= PLAINLY_INSIDE
  const isBrief = seconds < LEAST_SECONDS && !isPlain && !(surelyOutside && isLeanPower(state, now, band))
  const unsure = isBrief || (!surelyOutside && now.sd > TOO_WIDE * half)
  const onEdge =
    !hasChange &&
    !surelyOutside &&
    (!isInside || shareInside(now, band) < SURE_ENOUGH) &&
    now.sd > KNOWN_WELL * half
  if (!unsure && !onEdge && !unclear.includes(state)) return undefined
  const wanted = unsure ? TOO_WIDE * 0.7 * half : 0.2 * half
  const isAirWide = unsure && dayOf(observed, state) > TOO_WIDE * half && isAirUnknown(observed)
  const most = isAirWide ? LEAST_NEEDED_S : state === 'power' ? MOST_POWER_S : MOST_NEEDED_S
  const more = Math.max(5, seconds) * ((now.sd / wanted) ** 2 - 1)
  return {
    isOpen: unsure,
    isOut: !isInside,
    need: {
      seconds: Math.round(Math.min(most, Math.max(LEAST_NEEDED_S, more)) / 5) * 5,
      why: unsure
        ? `${words} is known only to ± ${halfWord(now, unit)}${isAirWide ? NOTE_AIR : ''}`
        : `${words} is so near the edge of its band that more driving must decide`,
    },
  }
}

/** What the days leave unknown of a state however long they are driven, log λ: their air above all. */
function dayOf(observed: readonly ObservedRun[], state: AdviceState): number {
  const runs = observed.filter(({ logLambda }) => logLambda[state])
  return 1 / Math.sqrt(runs.reduce((sum, { daySd = 0 }) => sum + 1 / daySd ** 2, 0))
}

const isAirUnknown = (observed: readonly ObservedRun[]) =>
  observed[observed.length - 1].air.source === 'unknown'

/** Half width of a state's 95 % interval: `0.03`. */
function halfWord({ mean, sd }: { mean: number; sd: number }, unit: MixtureUnit): string {
  const lambda = Math.exp(mean)
  return distanceWords(1.96 * sd * lambda, unit, lambda)
}

function isStrong(share: readonly [number, number]): boolean {
  return share[0] >= STRONG_SHARE
}
