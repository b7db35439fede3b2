import type { AnalysisResult, CoverageItem } from '../../core/contract/result.ts'
import { createCoverage } from '../../core/engine/coverage.ts'
import { NARROW_SPACE } from '../../core/units/format.ts'
import { coverageLine } from './coverageLine.ts'

/** What an owner wants to know of a drive, and what must be driven for it. */
export const questions = [
  {
    id: 'all',
    title: 'How is everything?',
    items: ['idle', 'cruise', 'tip_in_cruise', 'tip_in_idle', 'pull', 'overrun'],
  },
  { id: 'idle', title: 'Is idle right?', items: ['idle'] },
  { id: 'cruise', title: 'Is cruise too rich or too lean?', items: ['cruise'] },
  { id: 'power', title: 'Is full throttle rich enough?', items: ['pull'] },
  { id: 'pump', title: 'Does it stumble when the throttle opens?', items: ['tip_in_cruise', 'tip_in_idle'] },
  { id: 'choke', title: 'Is the choke right?', items: ['cold_start'] },
] as const
export type Question = (typeof questions)[number]['id']

export const isQuestion = (text: unknown): text is Question => questions.some(({ id }) => id === text)

type Item = (typeof questions)[number]['items'][number]

/** How to drive each, and about how long it takes with the road between, min: common practice, no source. */
const steps: Readonly<Record<Item, { how: string; minutes: number }>> = {
  idle: { how: 'warm, standing, foot off', minutes: 1 },
  cruise: { how: 'three speeds on a level road, each held half a minute', minutes: 5 },
  tip_in_cruise: { how: 'from a steady speed, quickly and by about a third', minutes: 3 },
  tip_in_idle: { how: 'standing, in neutral, quickly and a little', minutes: 1 },
  pull: { how: 'one gear, from low to high engine speed', minutes: 5 },
  overrun: { how: 'in gear, foot right off for a few seconds', minutes: 1 },
  cold_start: {
    how: 'recording before the key, then leave the throttle alone until it is warm',
    minutes: 10,
  },
}
/** Until an engine is warm enough for all but the choke, min: common practice, no source. */
const warmUpMinutes = 10

export interface PlanLine {
  item: Item
  name: string
  /** `60 s`, `10 times`, or what of it is done already, `30 of 90 s`. */
  amount: string
  how: string
  isDone: boolean
  /** Channel without which it cannot be counted, however much is driven; empty when none lacks. */
  lack: string
}

export interface DrivePlan {
  lines: readonly PlanLine[]
  /** Minutes of driving, without warming up. */
  minutes: number
  /** Minutes before them until the engine is warm; 0 where the cold start itself is the question. */
  warmUpMinutes: number
  /** The cautions that go with it. */
  cautions: readonly string[]
}

/** What to drive for a question, with what of it is done. `coverage`: of the drive so far, if there is one. */
export function drivePlan(
  question: Question,
  coverage: readonly CoverageItem[] | undefined,
  missing: AnalysisResult['missing'],
): DrivePlan {
  const items: readonly Item[] = questions.find(({ id }) => id === question)!.items
  const counted = coverage?.length ? coverage : createCoverage().items()
  const lines = items.map((item) => planLine(item, counted, missing))
  return {
    lines,
    minutes: items.reduce((sum, item) => sum + steps[item].minutes, 0),
    warmUpMinutes: question === 'choke' ? 0 : warmUpMinutes,
    cautions: [
      ...(items.includes('pull')
        ? [
            'Full throttle only where it is legal, best on a closed course or a rolling road. Lift at the lean warning.',
          ]
        : []),
      ...(question === 'choke' ? ['Never start it in a closed garage, not for a minute.'] : []),
    ],
  }
}

function planLine(
  item: Item,
  coverage: readonly CoverageItem[],
  missing: AnalysisResult['missing'],
): PlanLine {
  const { how } = steps[item]
  const counted = coverage.find((entry) => entry.item === item)
  if (!counted) return { item, name: 'a cold start', amount: '', how, isDone: false, lack: '' }
  const line = coverageLine(counted, missing)
  const whole = counted.unit ? `${counted.want}${NARROW_SPACE}${counted.unit}` : `${counted.want} times`
  return {
    item,
    name: line.name,
    amount: counted.have > 0 && line.have ? line.have : whole,
    how,
    isDone: line.isEnough,
    lack: line.isEnough || line.have ? '' : line.rest,
  }
}
