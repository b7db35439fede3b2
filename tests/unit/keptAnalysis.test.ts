import {
  appendFileSync,
  mkdtempSync,
  readdirSync,
  readFileSync,
  rmSync,
  statSync,
  utimesSync,
  writeFileSync,
} from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import { analyseFile } from '../../bridge/analysis/analyseFile.ts'
import { createKeptAnalyses, mostKeptBytes } from '../../bridge/analysis/keptAnalyses.ts'
import type { RunAnalysis } from '../../core/contract/result.ts'
import { findCar, simulateRun } from '../../simulator/index.ts'

const { bytes } = simulateRun({ car: findCar('marigold'), seconds: 60, seed: 4, drive: 'traffic' })
let folder = ''
let run = ''
let worked = 0
beforeEach(() => {
  folder = mkdtempSync(join(tmpdir(), 'kept-'))
  run = join(folder, 'run.capture')
  writeFileSync(run, bytes)
  worked = 0
})
afterEach(() => rmSync(folder, { recursive: true }))

const kept = (program = 'p1') =>
  createKeptAnalyses({
    folder: join(folder, 'kept'),
    program,
    analyse: (path, options) => {
      worked++
      return analyseFile(path, options)
    },
  })
const profile = { id: 'marigold', targets: { idle: { lambda: 0.93, rich: 0.04, lean: 0.04 } } }

describe('createKeptAnalyses', () => {
  it('gives what the analysis gives, NaN and all, and works it out once', async () => {
    const fresh = await analyseFile(run)
    const first = await kept().analyse(run)
    const second = await kept().analyse(run)
    expect(worked).toBe(1)
    expect(first).toEqual(fresh)
    expect(second).toEqual(fresh)
    const numbers = (analysis: RunAnalysis) =>
      analysis.pieces.map((piece) => Object.values(piece).map(String))
    expect(numbers(second)).toEqual(numbers(fresh))
  })

  it('works it out anew when the run has grown, was written over with as many bytes, or its time was set back', async () => {
    await kept().analyse(run)
    appendFileSync(run, '\n')
    await kept().analyse(run)
    expect(worked).toBe(2)
    const { atime, mtime, size } = statSync(run)
    writeFileSync(run, readFileSync(run).fill(35, size - 40))
    utimesSync(run, atime, mtime)
    expect(statSync(run).size).toBe(size)
    await kept().analyse(run)
    expect(worked).toBe(3)
    await kept().analyse(run)
    expect(worked).toBe(3)
  })

  it('works it out anew for another profile of the car, and keeps each', async () => {
    const plain = await kept().analyse(run)
    const own = await kept().analyse(run, { car: profile })
    expect(worked).toBe(2)
    expect(own.result.mixture.idle?.target).toBe(0.93)
    expect(plain.result.mixture.idle?.target).not.toBe(0.93)
    await kept().analyse(run)
    await kept().analyse(run, { car: { ...profile } })
    expect(worked).toBe(2)
    await kept().analyse(run, { car: { ...profile, targets: {} } })
    expect(worked).toBe(3)
  })

  it('works it out anew for another program', async () => {
    await kept('p1').analyse(run)
    await kept('p2').analyse(run)
    expect(worked).toBe(2)
    // Of one run there is one: the older program's is gone.
    expect(readdirSync(join(folder, 'kept'))).toHaveLength(1)
  })

  it('takes what is torn or foreign for nothing kept', async () => {
    await kept().analyse(run)
    const [name] = readdirSync(join(folder, 'kept'))
    const path = join(folder, 'kept', name)
    const whole = readFileSync(path)
    for (const broken of [whole.subarray(0, whole.length / 2), Buffer.from('no analysis'), Buffer.alloc(0)]) {
      writeFileSync(path, broken)
      await kept().analyse(run)
    }
    expect(worked).toBe(4)
  })

  it('works without a folder to keep in', async () => {
    writeFileSync(join(folder, 'kept'), 'a file stands there')
    await kept().analyse(run)
    await kept().analyse(run)
    expect(worked).toBe(2)
  })

  it('tells again what of the run could not be used', async () => {
    const told = async () => {
      const problems: string[] = []
      const store = createKeptAnalyses({
        folder: join(folder, 'kept'),
        program: 'p',
        analyse: (path, options) => {
          worked++
          options?.onProblems?.(['a record could not be used'])
          return analyseFile(path)
        },
      })
      await store.analyse(run, { onProblems: (list) => problems.push(...list) })
      return problems
    }
    expect(await told()).toEqual(['a record could not be used'])
    expect(await told()).toEqual(['a record could not be used'])
    expect(worked).toBe(1)
  })

  it('keeps no more than so many bytes: those not asked for longest go', async () => {
    expect(mostKeptBytes).toBeGreaterThan(50e6)
    const store = (path: string) =>
      createKeptAnalyses({
        folder: join(folder, 'kept'),
        program: 'p',
        analyse: analyseFile,
        mostBytes: 2.5 * size,
      }).analyse(path)
    let size = Number.POSITIVE_INFINITY
    await store(run)
    size = statSync(join(folder, 'kept', readdirSync(join(folder, 'kept'))[0])).size
    for (const name of ['b', 'c', 'd']) {
      writeFileSync(join(folder, `${name}.capture`), bytes)
      await store(join(folder, `${name}.capture`))
    }
    expect(readdirSync(join(folder, 'kept'))).toHaveLength(2)
  })
})
