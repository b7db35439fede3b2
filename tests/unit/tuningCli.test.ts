import { mkdtemp, rm, writeFile } from 'node:fs/promises'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { formatAdvice } from '../../bridge/cli/advise.ts'
import { carsOfRuns } from '../../bridge/cli/carsOfRuns.ts'
import { formatComparison } from '../../bridge/cli/compare.ts'
import { readPartsFile } from '../../bridge/cli/runParts.ts'
import type { AdviceResult } from '../../core/contract/advice.ts'
import { advise } from '../../core/tuning/advise.ts'
import { compareRuns } from '../../core/tuning/compareRuns.ts'
import { mixtureUnitOf } from '../../core/units/mixtureUnit.ts'
import { syntheticRun } from '../support/syntheticRun.ts'

let folder = ''
beforeAll(async () => {
  folder = await mkdtemp(join(tmpdir(), 'parts-'))
})
afterAll(() => rm(folder, { recursive: true }))

async function fileWith(text: string): Promise<string> {
  const path = join(folder, `${text.length}.json`)
  await writeFile(path, text)
  return path
}

describe('readPartsFile', () => {
  it('names the field of a part that does not fit, as wrong usage', async () => {
    const path = await fileWith('{"box":{"main_jet":[{"label":"70","bore_mm":"1.8"}]}}')
    await expect(readPartsFile(path)).rejects.toMatchObject({
      exitCode: 2,
      message: expect.stringContaining('box.main_jet.0.bore_mm'),
    })
  })

  it('says that text is no JSON, and that a file has neither box nor fitted', async () => {
    await expect(readPartsFile(await fileWith('{"box":'))).rejects.toMatchObject({ exitCode: 2 })
    await expect(readPartsFile(await fileWith('{"jets":1}'))).rejects.toThrow(/box: missing/)
  })

  it('takes a box alone, as the library does', async () => {
    const main_jet = [{ label: '70', bore_mm: 1.8 }]
    expect(await readPartsFile(await fileWith(JSON.stringify({ main_jet })))).toEqual({ box: { main_jet } })
  })

  it('fails as work, not as usage, for a file that is not there', async () => {
    await expect(readPartsFile(join(folder, 'none.json'))).rejects.toMatchObject({ exitCode: 1 })
  })
})

describe('carsOfRuns', () => {
  const runOf = (car?: string) => {
    const run = syntheticRun({ seed: 1, seconds: 60, lambdaAt: () => 1 })
    return { ...run, result: { ...run.result, run: { ...run.result.run, ...(car ? { car } : {}) } } }
  }

  it('names each car once, and none where no run says one', () => {
    expect(carsOfRuns([runOf('juniper'), runOf('pebble'), runOf('juniper')])).toEqual(['juniper', 'pebble'])
    expect(carsOfRuns([runOf(), runOf()]).length).toBeLessThan(2)
  })
})

describe('formatAdvice', () => {
  it('gives the change, the reasons, the states and the cautions as text', () => {
    const run = syntheticRun({
      seed: 4,
      seconds: 800,
      air: { temperature_C: 20, pressure_kPa: 100, humidity_pct: 0 },
      fitted: { main_jet: { label: '66', bore_mm: 1.72 } },
      lambdaAt: (_rpm, load, state) =>
        state === 'idle' ? 0.95 : load < 0.6 ? 1.12 : load < 0.85 ? 1.06 : 0.92,
    })
    const text = formatAdvice(advise([run], { main_jet: [{ label: '71', bore_mm: 1.85 }] }))
    expect(text).toMatch(/Main jet 66 \(1\.72 mm\) → 71 \(1\.85 mm\), richer/)
    expect(text).toContain('Cruise is lean by')
    expect(text).toContain('Power is lean')
    expect(text).toContain('No flame')
  })

  it('says nothing twice, and asks for no driving that would not help', () => {
    const doubtful = 'Look which one is fitted.'
    const advice: AdviceResult = {
      format: 'floatbowl-advice 1',
      done: false,
      next: null,
      also: [],
      needs: [
        { state: 'running', seconds: 10, channel: 'engine_speed', why: 'the board sends no engine speed' },
        { state: 'cruise', seconds: 30, why: doubtful },
      ],
      states: {},
      warnings: [doubtful, 'Power may be lean.'],
      cautions: ['Full throttle only where it is legal.'],
      summary: doubtful,
    }
    const text = formatAdvice(advice)
    expect(text.split(doubtful)).toHaveLength(2)
    expect(text).not.toContain('10 s of running')
    expect(text).toContain('30 s of cruise')
    expect(text).toContain('Before you drive: Full throttle only where it is legal.')
  })
})

describe('text in the unit of mixture that was asked for', () => {
  const afr = mixtureUnitOf('afr', undefined)
  const drive = (seed: number, cruise: number) =>
    syntheticRun({
      seed,
      seconds: 800,
      air: { temperature_C: 20, pressure_kPa: 100, humidity_pct: 0 },
      fitted: { main_jet: { label: '66', bore_mm: 1.72 } },
      lambdaAt: (_rpm, load, state) => (state === 'idle' ? 0.95 : load < 0.6 ? cruise : 0.9),
    })

  it('has no figure of λ in the table of a comparison', () => {
    const text = formatComparison(compareRuns(drive(1, 1.0), drive(2, 1.1), { mixtureUnit: 'afr' }), afr)
    expect(text).toMatch(/cruise by AFR 1\.\d\d ± 0\.\d\d/)
    expect(text).toMatch(/\ncruise +14\.\d\d +1[56]\.\d\d +\+1\.\d\d/)
    expect(text).not.toContain('λ')
  })

  it('has none in the table of an advice', () => {
    const advice = advise(
      [drive(1, 1.12)],
      { main_jet: [{ label: '71', bore_mm: 1.85 }] },
      { mixtureUnit: 'afr' },
    )
    const text = formatAdvice(advice, afr)
    expect(text).toMatch(/\ncruise +16\.\d\d +16\.\d\d … 16\.\d\d +14\.9 +lean/)
    expect(text).not.toContain('λ')
  })
})
