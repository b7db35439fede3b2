import type { MixtureState, OperatingState } from '../../core/contract/result.ts'
import { analyseCapture } from '../../core/pipeline/analyseCapture.ts'
import { engineCase, makeRun } from './engineCases.ts'
import { type CaseScore, scoreCase } from './engineScore.ts'
import { analysePlainly } from './plainScript.ts'

/*
 * Holds the analysis against random simulated cars and drives: `tsx tests/bench/engine.ts [cases = 200] [first = 0]`. Prints each row of the targets
 * with its distribution, what a plain script gets beside it, and the worst five with the reason. There is no pass or fail.
 */

const [count = 200, first = 0] = process.argv.slice(2).map(Number)

interface Case {
  readonly name: string
  readonly score: CaseScore
  readonly plainErrors: number[]
  readonly plainTips: { hits: number; extra: number; truth: number }
}

const quantile = (values: readonly number[], share: number) => {
  const sorted = values.filter((value) => !Number.isNaN(value)).sort((a, b) => a - b)
  return sorted.length > 0
    ? sorted[Math.min(sorted.length - 1, Math.floor(share * sorted.length))]
    : Number.NaN
}
const spread = (values: readonly number[], digits: number) =>
  [0.5, 0.75, 0.9, 0.95, 1].map((share) => quantile(values, share).toFixed(digits)).join(' ')
const row = (name: string, value: string, target: string, plain = '') =>
  console.log(
    `${name.padEnd(44)} ${value.padEnd(44)} target ${target.padEnd(18)} ${plain && `plain script ${plain}`}`,
  )

const cases: Case[] = []
for (let seed = first; seed < first + count; seed++) {
  const c = engineCase(seed)
  const { bytes, truth } = makeRun(c)
  const { result } = analyseCapture(bytes)
  const plain = analysePlainly(bytes, Number(c.parameters['engine.idle_rpm']))
  const plainErrors: number[] = []
  for (const [state, lambda] of Object.entries(plain.lambda)) {
    const right = truth.steady[0][state as OperatingState]
    if (right && right.seconds >= 3) plainErrors.push(Math.abs(lambda - right.mean))
  }
  const openings = truth.events.filter(({ kind, borderline }) => kind === 'tip_in' && !borderline)
  const hits = openings.filter((e) => plain.tipIns.some((t) => Math.abs(t - e.startS) < 0.35)).length
  const near = truth.events.filter(({ kind }) => kind === 'tip_in')
  const extra = plain.tipIns.filter((t) => !near.some((e) => Math.abs(t - e.startS) < 0.35)).length
  cases.push({
    name: `${seed} ${c.car} ${c.drive} ${c.rateHz} Hz ${c.channels} ${c.setup}`,
    score: scoreCase(result, truth),
    plainErrors,
    plainTips: { hits, extra, truth: openings.length },
  })
  if (process.stderr.isTTY) process.stderr.write(`\r${cases.length}/${count}`)
}

const scores = cases.map(({ score }) => score)
const lambdas = scores.flatMap(({ lambda }) => lambda)
const plainErrors = cases.flatMap((c) => c.plainErrors)
const total = <T>(list: readonly T[], of: (item: T) => number) =>
  list.reduce((sum, item) => sum + of(item), 0)

console.log(`${count} cases from ${first}; distributions are 50, 75, 90, 95, 100 %`)
row(
  'λ per steady state, error against mean there',
  spread(
    lambdas.map(({ error }) => Math.abs(error)),
    4,
  ),
  '≤ 0.005, 0.015',
  spread(plainErrors, 4),
)
row(
  '  against every moment of the state',
  spread(
    lambdas.map(({ errorAll }) => Math.abs(errorAll)),
    4,
  ),
  '',
)
row(
  '  against the mean without wander',
  spread(
    lambdas.map(({ errorStill }) => Math.abs(errorStill)),
    4,
  ),
  '',
)
for (const state of ['idle', 'cruise', 'part_throttle', 'power', 'warm_up'] as MixtureState[]) {
  const own = lambdas.filter((entry) => entry.state === state)
  row(
    `  ${state} (${own.length})`,
    spread(
      own.map(({ error }) => Math.abs(error)),
      4,
    ),
    '',
  )
}
const stated = lambdas.filter(({ half }) => !Number.isNaN(half))
const covered = (key: 'error' | 'errorAll' | 'errorStill') =>
  `${((100 * stated.filter((entry) => Math.abs(entry[key]) <= entry.half).length) / stated.length).toFixed(1)} %`
row('intervals hold the mean there', `${covered('error')} of ${stated.length}`, '92 … 98 %')
row('  the mean without wander', covered('errorStill'), '')
row('  the mean of every moment', covered('errorAll'), '')
const ms = (values: readonly number[]) =>
  spread(
    values.map((s) => Math.abs(1000 * s)),
    0,
  )
row('delay at idle, error, ms', ms(scores.map(({ delayIdleS }) => delayIdleS)), 'median ≤ 40 ms')
row('delay at power, error, ms', ms(scores.map(({ delayPowerS }) => delayPowerS)), 'median ≤ 20 ms')
const tips = scores.map((score) => score.tips)
const plainTips = cases.map((c) => c.plainTips)
row(
  'tip-ins: recall',
  `${(total(tips, (t) => t.hits) / total(tips, (t) => t.truth)).toFixed(3)} of ${total(tips, (t) => t.truth)}`,
  '≥ 0.98',
  (total(plainTips, (t) => t.hits) / total(plainTips, (t) => t.truth)).toFixed(3),
)
row(
  'tip-ins: precision',
  (1 - total(tips, (t) => t.extra) / total(tips, (t) => t.found)).toFixed(3),
  '≥ 0.98',
  (total(plainTips, (t) => t.hits) / total(plainTips, (t) => t.hits + t.extra)).toFixed(3),
)
row(
  'tip-ins: pattern right, against the target',
  (total(tips, (t) => t.patternsRight) / total(tips, (t) => t.patterns)).toFixed(3),
  '≥ 0.9',
)
row(
  '  or against where λ settles',
  (total(tips, (t) => t.patternsSettled) / total(tips, (t) => t.patterns)).toFixed(3),
  '',
)
row('stumbles right', (total(tips, (t) => t.stumblesRight) / total(tips, (t) => t.stumbles)).toFixed(3), '')
const agreement = scores.map((score) => score.agreement).filter((value) => !Number.isNaN(value))
row(
  'operating state by time: mean, 50, 10, 0 %',
  [total(agreement, (a) => a) / agreement.length, ...[0.5, 0.1, 0].map((q) => quantile(agreement, q))]
    .map((value) => value.toFixed(3))
    .join(' '),
  '≥ 0.97',
)

function worst(title: string, badness: (c: Case) => number, reason: (c: Case) => string): void {
  console.log(`\nworst five: ${title}`)
  const order = cases.filter((c) => !Number.isNaN(badness(c))).sort((a, b) => badness(b) - badness(a))
  for (const c of order.slice(0, 5)) console.log(`  ${c.name}: ${reason(c)}`)
}

const worstLambda = (c: Case) =>
  c.score.lambda.reduce((most, entry) => Math.max(most, Math.abs(entry.error)), Number.NEGATIVE_INFINITY)
worst('λ', worstLambda, (c) =>
  c.score.lambda.map((l) => `${l.state} ${l.error.toFixed(3)} in ${l.seconds.toFixed(0)} s`).join(', '),
)
worst(
  'delay at idle',
  (c) => Math.abs(c.score.delayIdleS),
  (c) => `${(1000 * c.score.delayIdleS).toFixed(0)} ms`,
)
worst(
  'states',
  (c) => 1 - c.score.agreement,
  (c) => `${c.score.agreement.toFixed(3)}: ${c.score.worstStates}`,
)
worst(
  'tip-ins',
  ({ score }) => score.tips.extra + score.tips.truth - score.tips.hits,
  ({ score }) =>
    `${score.tips.truth - score.tips.hits} missed at ${score.missedTips.map((t) => t.toFixed(1)).join(' ')}, ${score.tips.extra} extra at ${score.extraTips.map((t) => t.toFixed(1)).join(' ')}`,
)
worst(
  'patterns',
  ({ score }) => score.tips.patterns - score.tips.patternsRight,
  ({ score }) => score.wrongPatterns.join(' '),
)
