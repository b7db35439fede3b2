import { mkdtemp, rm, writeFile } from 'node:fs/promises'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { analyseFile, analyseFileToJson } from '../../bridge/analysis/analyseFile.ts'
import { createFedPipeline } from '../../bridge/analysis/fedPipeline.ts'
import { createFeedSink, type FeedItem } from '../../bridge/analysis/feed.ts'
import { createCaptureScanner } from '../../core/capture/captureScanner.ts'
import { decodeSource } from '../../core/capture/sourceDecoder.ts'
import { analyseCapture } from '../../core/pipeline/analyseCapture.ts'
import { cars } from '../../simulator/cars.ts'
import { simulateRun } from '../../simulator/run.ts'

const { bytes } = simulateRun({ car: cars[0], drive: 'good', seconds: 60, channels: 'sixteen', seed: 3 })
let folder = ''

beforeAll(async () => {
  folder = await mkdtemp(join(tmpdir(), 'floatbowl-analyse-'))
})
afterAll(() => rm(folder, { recursive: true }))

describe('analyseFile', () => {
  it('gives the analysis of the same bytes, and its result as text', async () => {
    const path = join(folder, 'run.capture')
    await writeFile(path, bytes)
    const expected = analyseCapture(bytes, { file: path })
    expect(await analyseFile(path)).toEqual(expected)
    expect(await analyseFileToJson(path)).toBe(JSON.stringify(expected.result))
  })

  it('gives the same through items that were copied from thread to thread', () => {
    const items: FeedItem[] = []
    const scanner = createCaptureScanner({ decoderOf: decodeSource, emit: createFeedSink(items) })
    const pipeline = createFedPipeline({})
    for (let at = 0; at < bytes.length; at += 10_000) {
      scanner.push(bytes.subarray(at, at + 10_000))
      pipeline.take(structuredClone(items.splice(0)))
    }
    const { counts, tornEnd } = scanner.end()
    pipeline.take(structuredClone(items.splice(0)))
    const { analysis, problems } = pipeline.end({ counts, tornEnd, file: 'run' }, true)
    expect(analysis).toBe(JSON.stringify(analyseCapture(bytes, { file: 'run' }).result))
    expect(problems).toEqual([])
  })

  it('says what is wrong with a file that is no capture', async () => {
    const path = join(folder, 'letter.txt')
    await writeFile(path, 'Dear owner,\n')
    await expect(analyseFile(path)).rejects.toThrow(/not a capture/)
    await expect(analyseFile(join(folder, 'none'))).rejects.toThrow(/ENOENT/)
  })
})
