import { describe, expect, it } from 'vitest'
import { formatAdvice } from '../../bridge/cli/advise.ts'
import type { AdviceResult } from '../../core/contract/advice.ts'
import type { Box, Part } from '../../core/contract/car.ts'
import type { RunAnalysis } from '../../core/contract/result.ts'
import { advise } from '../../core/tuning/advise.ts'
import { areaPerFlow } from '../../core/tuning/flowFigures.ts'
import { againstText, measureText, readSize } from '../../dashboard/parts/fitted/partKinds.ts'
import { drive, sizes, withPart } from '../support/jettingCar.ts'

/** A maker's flow figure of a jet: its area in mm² times a number that only he knows. */
const MAKERS_NUMBER = 118.3
const flowOf = (boreMm: number) => Math.round(MAKERS_NUMBER * (Math.PI / 4) * boreMm * boreMm)
const leanMain = withPart('main_jet', { label: '66', bore_mm: 1.72 })
const noted = (run: RunAnalysis, main_jet: Part): RunAnalysis => ({
  ...run,
  result: { ...run.result, run: { ...run.result.run, fitted: { ...leanMain, main_jet } } },
})
const lean = drive(leanMain, 1)
const jets = sizes(1.6, 2.1, 0.03)
const byFlow = jets.map(({ label, bore_mm }): Part => ({ label: `F${label}`, flow: flowOf(bore_mm) }))
const withOneBore = byFlow.map((jet, i) => (i === 3 ? { ...jet, bore_mm: jets[3].bore_mm } : jet))
const textOf = ({ summary, warnings, next }: AdviceResult) =>
  [summary, ...(next?.because ?? []), ...(warnings ?? [])].join(' ')
const adviceOf = (fitted: Part, main_jet: Part[]) => advise([noted(lean, fitted)], { main_jet } as Box)
const boreWanted = adviceOf({ label: '66', bore_mm: 1.72 }, jets).next!.to.bore_mm!

describe('jets by flow beside jets by bore', () => {
  it('are put beside each other by one jet of which both are known, and it is said which', () => {
    const { next, ...rest } = adviceOf({ label: '66', bore_mm: 1.72 }, withOneBore)
    expect(next).toMatchObject({ part: 'main_jet', direction: 'richer', to: { bore_by: 'flow' } })
    expect(next!.to.bore_mm).toBeCloseTo(boreWanted, 2)
    expect(next!.to.flow).toBeCloseTo(flowOf(boreWanted), -1)
    const text = textOf({ next, ...rest } as AdviceResult)
    expect(text).toContain(`66 (1.72 mm) → ${next!.to.label} (flow ${next!.to.flow})`)
    expect(text).toContain(`reckoned from its flow by F${jets[3].label}, of which both figures are known`)
  })

  it('are so too where the fitted one has both, or shares its label with one of the box', () => {
    const both = adviceOf({ label: '66', bore_mm: 1.72, flow: flowOf(1.72) }, byFlow)
    expect(both.next!.to.flow).toBeCloseTo(flowOf(boreWanted), -1)
    const shared = adviceOf({ label: 'F172', bore_mm: 1.72 }, byFlow)
    expect(shared.next!.to.flow).toBeCloseTo(flowOf(boreWanted), -1)
  })

  it('are so where the fitted one is given by flow and the box by bores', () => {
    const fitted = { label: 'F66', flow: flowOf(1.72) }
    const box = [...jets, { label: 'both', bore_mm: 1.63, flow: flowOf(1.63) }]
    const { next } = adviceOf(fitted, box)
    expect(next!.to.bore_mm).toBeCloseTo(boreWanted, 2)
    expect(next!.from).toMatchObject({ flow: fitted.flow, bore_by: 'flow' })
  })

  it('are chosen among themselves by flow alone where all are given so', () => {
    const { next } = adviceOf({ label: 'F66', flow: flowOf(1.72) }, byFlow)
    expect(next!.to.flow).toBeCloseTo(flowOf(boreWanted), -1)
    expect(next!.to.bore_mm).toBeUndefined()
  })

  it('say the one measurement that would help, when no jet has both: of the box, if that is given by flow', () => {
    const advice = adviceOf({ label: '66', bore_mm: 1.72 }, byFlow)
    expect(advice.next).toBeNull()
    expect(advice.done).toBe(false)
    expect(textOf(advice)).toMatch(
      /the box gives its main jets by flow.*[Mm]easure the bore of one of them.*drill/s,
    )
    expect(textOf(advice)).not.toContain('Nothing in the box')
    expect(formatAdvice(advice).match(/by flow/g)).toHaveLength(1)
  })

  it('of the fitted one, if the box is given by bores', () => {
    const advice = adviceOf({ label: 'F66', flow: flowOf(1.72) }, jets)
    expect(advice.next).toBeNull()
    expect(textOf(advice)).toMatch(/by its flow.*box by bores.*[Mm]easure the bore of the fitted one.*drill/s)
    expect(formatAdvice(advice).match(/by its flow/g)).toHaveLength(1)
  })

  it('say so even where no size of the fitted kind would do', () => {
    const far = drive(withPart('main_jet', { bore_mm: 1.2 }), 1)
    const advice = advise([noted(far, { label: '66', bore_mm: 1.2 })], { main_jet: byFlow })
    expect(textOf(advice)).toContain('Measure the bore of one of them')
  })

  it('are reckoned anew from what is noted, not from what was reckoned before', () => {
    const { next } = adviceOf({ label: '66', bore_mm: 1.72 }, withOneBore)
    const stale = withOneBore.map((jet) =>
      jet.label === next!.to.label ? { ...jet, bore_mm: 2.5, bore_by: 'flow' } : jet,
    )
    expect(adviceOf({ label: '66', bore_mm: 1.72 }, stale).next!.to).toEqual(next!.to)
  })

  it('trust no ratio that two jets tell differently', () => {
    const apart = byFlow.map((jet, i) =>
      i === 3 ? { ...jet, bore_mm: 1.69 } : i === 9 ? { ...jet, bore_mm: 1.5 } : jet,
    )
    const advice = adviceOf({ label: '66', bore_mm: 1.72 }, apart)
    expect(textOf(advice)).toMatch(/F169.*F187.*do not fit each other/s)
    expect(advice.next?.to.bore_by).toBeUndefined()
  })
})

describe('areaPerFlow', () => {
  it('is the area of a jet with both figures over its flow', () => {
    const known = areaPerFlow([
      { label: 'a', bore_mm: 2, flow: 400 },
      { label: 'b', flow: 300 },
    ])
    expect(known?.mm2PerFlow).toBeCloseTo(Math.PI / 400, 9)
    expect(known?.labels).toEqual(['a'])
    expect(areaPerFlow([{ label: 'b', flow: 300 }])).toBeUndefined()
  })
})

describe('a flow figure on the page', () => {
  it('is typed beside the bore or in its place', () => {
    const form = (size: string) => ({ label: '310', size, second: '' })
    expect(readSize('bore', form('flow 310'))).toEqual({ label: '310', flow: 310 })
    expect(readSize('bore', form('1.85 mm, flow 310'))).toEqual({ label: '310', bore_mm: 1.85, flow: 310 })
    expect(() => readSize('bore', form('flow'))).toThrow(RangeError)
    expect(measureText({ label: '310', flow: 310 }, 'mm')).toBe('flow 310')
    expect(againstText({ label: 'a', flow: 300 }, { label: 'b', flow: 330 })).toMatch(
      /^10\D% larger opening$/,
    )
  })
})
