import { describe, expect, it } from 'vitest'
import { describeResult } from '../../bridge/cli/describeResult.ts'
import type { AlarmEntry, AnalysisResult } from '../../core/contract/result.ts'
import { createMixtureUnit } from '../../core/units/mixtureUnit.ts'
import { syntheticResult } from '../support/syntheticRun.ts'

const plain = syntheticResult({})
const empty: AnalysisResult = { ...plain, run: { ...plain.run, file: 'a.capture', seconds: 61 } }

const alarm = (code: string, start_s: number, end_s: number, worst: number | null): AlarmEntry => ({
  code,
  priority: 'caution',
  start_s,
  end_s,
  worst,
})

describe('describeResult', () => {
  it('tells each kind of alarm once, with how often, how long and the worst value on its bad side', () => {
    const text = describeResult({
      ...empty,
      alarms: [
        alarm('lean_under_load', 58, 60, 0.99),
        alarm('rich_in_cruise', 70, 74, 0.9),
        alarm('lean_under_load', 600, 603, 1.01),
        alarm('rich_in_cruise', 610, 611, 0.84),
      ],
    })
    const rows = text.split('\n').filter((line) => line.startsWith('alarm'))
    expect(rows).toEqual([
      'alarm         lean under load 2 times from 0:58 to 10:00, 5 s in all, worst 1.010',
      'alarm         rich in cruise 2 times from 1:10 to 10:10, 5 s in all, worst 0.840',
    ])
  })

  it('tells a single alarm by its moment, and one without a value without it', () => {
    const text = describeResult({ ...empty, alarms: [alarm('sensor_fault', 5, 9, null)] })
    expect(text).toContain('alarm         sensor fault at 0:05, 4 s in all\n')
  })

  it('tells how much of the full load was driven on a cold engine', () => {
    const power = {
      bank: 1,
      seconds: 13.2,
      lambda_median: 0.828,
      lambda_iqr: 0.02,
      ci95: [0.8, 0.855],
      target: 0.87,
      error: -0.042,
      inside_share: 0.25,
    } as const
    const rowOf = (mixture: object) =>
      describeResult({ ...empty, mixture: { power: { ...power, ...mixture } } } as AnalysisResult)
        .split('\n')
        .find((line) => line.startsWith('power'))
    expect(rowOf({ cold_s: 9.8 })).toMatch(/ 13, 10 of them cold$/)
    expect(rowOf({})).toMatch(/ 13$/)
  })

  it('gives the mixture in the unit of the car', () => {
    const power = {
      bank: 1,
      seconds: 13.2,
      lambda_median: 0.83,
      lambda_iqr: 0.02,
      ci95: [0.8, 0.855],
      target: 0.87,
      error: -0.04,
      inside_share: 0.25,
    } as const
    const told = (id: 'afr' | 'phi') =>
      describeResult(
        { ...empty, mixture: { power }, alarms: [alarm('lean_under_load', 58, 60, 0.95)] } as AnalysisResult,
        createMixtureUnit(id, 14.6),
      )
    expect(told('afr')).toMatch(/AFR .*\npower {2}12\.12 {2}11\.68 … 12\.48 {2}12\.7 +rich 0\.58 /)
    expect(told('afr')).toContain('worst 13.87')
    expect(told('phi')).toMatch(/φ .*\npower {2}1\.205 {2}1\.170 … 1\.250 {2}1\.15 +rich 0\.0/)
  })

  it('says that no steady mixture was seen in an empty run', () => {
    expect(describeResult(empty)).toMatch(/^a.capture · 1:01 long\n\nno steady mixture was seen/)
  })
})
