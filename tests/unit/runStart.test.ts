import { mkdtemp, rm, writeFile } from 'node:fs/promises'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { describe, expect, it } from 'vitest'
import { describeResult } from '../../bridge/cli/describeResult.ts'
import { readRunHead } from '../../bridge/store/runSummary.ts'
import { analyseCapture } from '../../core/pipeline/analyseCapture.ts'
import { reportHtml } from '../../core/tuning/reportHtml.ts'
import { localStart } from '../../core/units/localStart.ts'
import { runStartText } from '../../dashboard/words/runWords.ts'

describe('localStart', () => {
  it.each([
    ['2026-05-04T07:12:30.120Z', 'Europe/Berlin', '2026-05-04T09:12:30.120+02:00'],
    ['2026-01-04T07:12:30Z', 'Europe/Berlin', '2026-01-04T08:12:30.000+01:00'],
    ['2026-07-01T01:00:00Z', 'America/St_Johns', '2026-06-30T22:30:00.000-02:30'],
    ['2026-01-01T23:30:00Z', 'Asia/Kathmandu', '2026-01-02T05:15:00.000+05:45'],
    ['2026-05-04T07:12:30Z', 'UTC', '2026-05-04T07:12:30Z'],
    ['2026-05-04T07:12:30Z', undefined, '2026-05-04T07:12:30Z'],
    ['2026-05-04T07:12:30Z', 'Nowhere/At_All', '2026-05-04T07:12:30Z'],
    ['2026-05-04T09:12:30+02:00', 'America/New_York', '2026-05-04T09:12:30+02:00'],
    ['yesterday, Z', 'Europe/Berlin', 'yesterday, Z'],
  ])('%s in %s is %s', (start, zone, local) => {
    expect(localStart(start, zone)).toBe(local)
  })
})

describe('a run noted in UTC', () => {
  const capture = (start: object) =>
    Buffer.from(`floatbowl-capture 1\n0.000000 = ${JSON.stringify({ type: 'start', ...start })}\n`)
  const at = '2026-05-04T07:12:30.120Z'
  const told = capture({ at, zone: 'Europe/Berlin' })

  it('is told by the clock of its zone on sheet, page and terminal; the result keeps the start as noted', () => {
    const { result } = analyseCapture(told)
    expect(result.run).toMatchObject({ start: at, zone: 'Europe/Berlin' })
    expect(reportHtml({ analysis: result })).toContain('2026-05-04 09:12 UTC+02:00')
    expect(describeResult(result)).toContain('2026-05-04 09:12 UTC+02:00')
    expect(runStartText(result.run)).toMatch(/2026.*\b0?9:12/)
    expect(runStartText(result.run)).not.toContain('UTC')
  })

  it('says UTC on the page as on the sheet where no zone is named', () => {
    const { result } = analyseCapture(capture({ at }))
    expect(result.run).not.toHaveProperty('zone')
    expect(reportHtml({ analysis: result })).toContain('2026-05-04 07:12 UTC')
    expect(runStartText(result.run)).toMatch(/2026.*\b0?7:12.*UTC$/)
  })

  it('has its zone in the list of runs', async () => {
    const folder = await mkdtemp(join(tmpdir(), 'floatbowl-start-'))
    try {
      const path = join(folder, 'run.capture')
      await writeFile(path, told)
      const head = await readRunHead(path)
      expect(head).toMatchObject({ start: at, zone: 'Europe/Berlin' })
      expect(runStartText(head)).toMatch(/2026.*\b0?9:12/)
    } finally {
      await rm(folder, { recursive: true })
    }
  })

  it('is of an unknown day without a start', () => {
    expect(runStartText()).toBe('unknown day')
    expect(runStartText({ start: '' })).toBe('unknown day')
  })
})
