import { describe, expect, it } from 'vitest'
import type { CarProfile } from '../../core/contract/car.ts'
import type { AnalysisResult, RunAnalysis } from '../../core/contract/result.ts'
import type { CircuitVerdict } from '../../core/tuning/circuitVerdict.ts'
import { circuitVerdicts } from '../../core/tuning/circuitVerdicts.ts'
import { gateRangeFor } from '../../core/tuning/gateScale.ts'
import { MAP_QUIET_LAMBDA } from '../../core/tuning/mapLimits.ts'
import { gateSvg, gateWords } from '../../core/tuning/reportGate.ts'
import { reportHtml } from '../../core/tuning/reportHtml.ts'
import { mapTable } from '../../core/tuning/reportMap.ts'
import { verdictHeadline } from '../../core/tuning/verdictHeadline.ts'
import { createMixtureUnit, lambdaUnit } from '../../core/units/mixtureUnit.ts'
import { mapTable as pageMap } from '../../dashboard/parts/run/mapCells.ts'
import { createNoise, syntheticResult, syntheticRun } from '../support/syntheticRun.ts'

const air = { temperature_C: 20, pressure_kPa: 100, humidity_pct: 0 }
const wrongMain = (seed = 1, factor = 1.1) =>
  syntheticRun({
    seed,
    air,
    seconds: 900,
    lambdaAt: (_rpm, load, state) =>
      state === 'idle' ? 0.95 : load < 0.6 ? 1.02 * factor : load < 0.85 ? 0.97 * factor : 0.865,
  })

describe('circuitVerdicts', () => {
  it('names main as lean and leaves idle and power on target', () => {
    const rows = circuitVerdicts(wrongMain())
    const verdictOf = (circuit: string) => rows.find((row) => row.circuit === circuit)?.verdict
    expect(verdictOf('main')).toBe('lean')
    expect(verdictOf('idle')).toBe('on_target')
    expect(verdictOf('power')).toBe('on_target')
  })

  it('says of a part throttle whose enrichment comes within it that it is lean and rich in turn', () => {
    const detailOf = (step: number) =>
      circuitVerdicts(
        syntheticRun({
          seed: 5,
          air,
          seconds: 900,
          lambdaAt: (_rpm, load, state) =>
            state === 'idle'
              ? 0.95
              : load < 0.6
                ? 1.02
                : load < 0.725
                  ? 0.97 + step
                  : load < 0.85
                    ? 0.97 - step
                    : 0.87,
        }),
      ).find((row) => row.circuit === 'main')
    expect(detailOf(0.07)).toMatchObject({
      verdict: 'on_target',
      detail: 'part throttle lean and rich in turn',
    })
    expect(detailOf(0.01)).toMatchObject({ verdict: 'on_target', detail: 'cruise, part throttle' })
  })

  it('does not average a lean bank away, and counts two sensors\u2019 seconds once', () => {
    const bank = (of: 1 | 2, cruise: number, power: number) =>
      syntheticRun({
        seed: 30 + of,
        bank: of,
        air,
        seconds: 900,
        lambdaAt: (_rpm, load, state) =>
          state === 'idle' ? 0.95 : load < 0.6 ? cruise : load < 0.85 ? 0.97 : power,
      })
    const rowsOf = (one: RunAnalysis, two: RunAnalysis, car?: CarProfile) =>
      circuitVerdicts({ ...one, pieces: [...one.pieces, ...two.pieces] }, car ? { car } : {})
    const rowOf = (rows: CircuitVerdict[], circuit: string) => rows.find((row) => row.circuit === circuit)!
    const alike = rowsOf(bank(1, 1.02, 0.87), bank(2, 1.02, 0.87))
    expect(alike.filter(({ verdict }) => verdict === 'rich' || verdict === 'lean')).toEqual([])
    expect(rowOf(alike, 'main').seconds).toBeLessThan(900)
    const power = rowsOf(bank(1, 1.02, 0.8), bank(2, 1.02, 0.94))
    expect(rowOf(power, 'power')).toMatchObject({
      verdict: 'lean',
      words: 'lean 0.07',
      detail: 'leaner: bank 2',
    })
    expect(rowOf(power, 'main').verdict).toBe('on_target')
    expect(verdictHeadline(power)).toMatch(/^One circuit is off/)
    const names = rowsOf(bank(1, 0.96, 0.87), bank(2, 1.1, 0.87), {
      id: 'juniper',
      sensor: { bank_names: ['left', 'right'] },
    })
    expect(rowOf(names, 'main')).toMatchObject({ verdict: 'lean', detail: 'further off: right' })
  })

  it('judges main by driving clear of idle, as the advice does', () => {
    const isSlow = (rpm: number, load: number, state: string) => state === 'cruise' && rpm * load < 480
    const run = syntheticRun({
      seed: 51,
      air,
      meanRpm: 1150,
      seconds: 1500,
      lambdaAt: (rpm, load, state) =>
        isSlow(rpm, load, state)
          ? 0.9
          : state === 'idle'
            ? 0.95
            : load < 0.6
              ? 1.02
              : load < 0.85
                ? 0.97
                : 0.865,
    })
    const main = circuitVerdicts(run).find((row) => row.circuit === 'main')!
    expect(main.verdict).toBe('on_target')
    expect(Math.abs(main.error)).toBeLessThan(0.015)
  })

  it('lets part throttle be as rich as its enriched share is meant to be', () => {
    // A valve that opens at a load of 0.70, and nothing else: 0.91 on the mean, under the plain limit of 0.93.
    const run = syntheticRun({
      seed: 9,
      air,
      seconds: 1500,
      lambdaAt: (_rpm, load, state) => (state === 'idle' ? 0.95 : load < 0.7 ? 0.99 : 0.87),
    })
    const main = circuitVerdicts(run).find((row) => row.circuit === 'main')!
    expect(main.verdict).toBe('on_target')
  })

  it('gives the error at home air: on a hot low day the same λ is leaner at home', () => {
    const hot = { temperature_C: 35, pressure_kPa: 94, humidity_pct: 0 }
    const home = circuitVerdicts(wrongMain()).find((row) => row.circuit === 'idle')!
    const run = wrongMain()
    const away = circuitVerdicts({ ...run, result: syntheticResult({ air: hot }) })
    const idle = away.find((row) => row.circuit === 'idle')!
    // √(293.15 / 308.15 × 94 / 100)⁻¹ = 1.0574
    expect((idle.error + 0.95) / (home.error + 0.95)).toBeCloseTo(1.0574, 3)
  })

  it('says what to drive for a circuit without data', () => {
    const run = wrongMain()
    const rows = circuitVerdicts({ ...run, pieces: run.pieces.filter((piece) => piece.state !== 'idle') })
    const idle = rows.find((row) => row.circuit === 'idle')!
    expect(idle.verdict).toBe('not_enough_data')
    expect(idle.missing).toContain('s more')
  })

  it('leaves out circuits that the car does not have', () => {
    const car = { id: 'a', circuits: ['idle' as const, 'main' as const] }
    expect(circuitVerdicts(wrongMain(), { car }).map((row) => row.circuit)).toEqual(['idle', 'main'])
  })

  it('holds the true mean of a state in 92 to 98 of 100 intervals', () => {
    let inside = 0
    let intervals = 0
    for (let seed = 0; seed < 120; seed++) {
      const noise = createNoise(seed + 77)
      const gain = Math.exp(0.0025 * noise.normal())
      const wander = noise.between(0.004, 0.012)
      const rows = circuitVerdicts(
        syntheticRun({
          seed: seed + 1,
          air,
          wander,
          lambdaAt: (_r, load, s) =>
            gain * (s === 'idle' ? 0.95 : load < 0.6 ? 1.02 : load < 0.85 ? 0.97 : 0.87),
        }),
      )
      for (const row of rows) {
        if (!Number.isFinite(row.half95)) continue
        intervals++
        if (Math.abs(row.error) <= row.half95 && row.target !== 0.87) inside++
        else if (row.target === 0.87 && Math.abs(row.error) <= row.half95) inside++
      }
    }
    expect(intervals).toBeGreaterThan(300)
    expect(inside / intervals).toBeGreaterThan(0.92)
    expect(inside / intervals).toBeLessThan(0.99)
  }, 60_000)
})

describe('verdictHeadline', () => {
  const row = (verdict: 'on_target' | 'rich' | 'lean' | 'not_enough_data') => ({
    ...circuitVerdicts(wrongMain())[0],
    verdict,
    words: verdict,
  })

  it('counts what is off and says of the rest what is known', () => {
    expect(verdictHeadline([row('rich'), row('lean'), row('on_target')])).toBe(
      'Two circuits are off; the others are where they belong',
    )
    expect(verdictHeadline([row('rich'), row('on_target'), row('not_enough_data')])).toBe(
      'One circuit is off; one needs more driving',
    )
    expect(verdictHeadline([row('on_target'), row('on_target')])).toBe('Every circuit is where it belongs')
    expect(verdictHeadline([row('not_enough_data')])).toBe('Not enough steady driving to judge any circuit')
    expect(verdictHeadline([row('rich'), row('rich')])).toBe('Every circuit is off')
  })
})

describe('what is missing', () => {
  it('is said in words of the driver', () => {
    const run = wrongMain()
    const pieces = run.pieces.filter((piece) => piece.state === 'cruise')
    const rows = circuitVerdicts({ ...run, pieces })
    const missing = Object.fromEntries(rows.map((row) => [row.circuit, row.missing]))
    expect(missing.idle).toBe('20 s more of warm idling')
    expect(missing.power).toBe('6 s more of warm full-throttle driving')
    expect(missing.pump).toBe('10 more tip-ins')
  })

  it('is throttle or pressure when the board tells no load, not driving', () => {
    const run = wrongMain()
    const pieces = run.pieces.filter((piece) => piece.state === 'idle')
    const result = {
      ...run.result,
      channels_used: ['lambda', 'engine_speed'],
      map: { ...run.result.map, load_channel: 'none' as const },
    }
    const rows = circuitVerdicts({ ...run, pieces, result })
    expect(rows.find((row) => row.circuit === 'main')!.missing).toBe('needs throttle or manifold pressure')
    expect(verdictHeadline(rows)).toBe(
      'What was driven is where it belongs; the others need throttle or manifold pressure',
    )
  })

  it('is the engine speed when the board sends none', () => {
    const run = wrongMain()
    const result = { ...run.result, channels_used: ['lambda'] }
    expect(verdictHeadline({ ...run, result })).toBe(
      'The board sends no engine speed: circuits cannot be told apart',
    )
  })
})

describe('gateSvg', () => {
  const base = circuitVerdicts(wrongMain())[0]

  it('draws nothing but posts, strip and interval when on target', () => {
    const svg = gateSvg({ ...base, verdict: 'on_target', error: 0.01 }, lambdaUnit)
    expect(svg).not.toContain('class="rich"')
    expect(svg).not.toContain('class="lean"')
    expect(svg.match(/class="post"/g)).toHaveLength(2)
  })

  it('draws rich as a hatched block and lean as dots with a point', () => {
    expect(gateSvg({ ...base, verdict: 'rich', error: -0.1 }, lambdaUnit)).toContain('class="hatch"')
    expect(gateSvg({ ...base, verdict: 'lean', error: 0.1 }, lambdaUnit)).toContain('<circle')
  })

  it('draws no posts where nothing was judged: an empty gate says on target', () => {
    for (const row of [
      { ...base, verdict: 'not_enough_data' as const },
      { ...base, verdict: 'lean' as const, error: Number.NaN },
    ]) {
      expect(gateSvg(row, lambdaUnit)).not.toContain('class="post"')
    }
  })

  it('says in words what it shows', () => {
    const row = { ...base, words: 'rich 0.10', error: -0.1, half95: 0.01, verdict: 'rich' } as const
    expect(gateWords(row, lambdaUnit)).toBe(
      'Idle: rich 0.10, λ 0.100 richer than its target plus or minus 0.010',
    )
    // 0.1 of λ and 0.01 of λ of a fuel of 14.7.
    expect(gateWords(row, createMixtureUnit('afr', 14.7))).toBe(
      'Idle: rich 1.5, AFR 1.47 richer than its target plus or minus 0.15',
    )
  })
})

describe('gateRangeFor', () => {
  it('is the usual scale unless a band reaches to its end, then all its posts and some room', () => {
    expect(gateRangeFor([])).toBe(0.15)
    expect(gateRangeFor([{ bandRich: 0.12, bandLean: 0.1 }])).toBe(0.15)
    expect(gateRangeFor([{ bandRich: 0.16, bandLean: 0.09 }])).toBeCloseTo(0.2)
    expect(gateRangeFor([{ bandRich: Number.NaN, bandLean: Number.NaN }])).toBe(0.15)
  })

  it('shows on the sheet a part throttle inside the band by which a board without pressure is judged', () => {
    const run = syntheticRun({
      seed: 9,
      air,
      seconds: 900,
      lambdaAt: (_rpm, load, state) => (state === 'idle' ? 0.95 : load < 0.85 ? 0.82 : 0.87),
    })
    const map = { ...run.result.map, load_channel: 'throttle' as const }
    const pieces = run.pieces.filter(({ state }) => state !== 'cruise')
    const told = { ...run, pieces, result: { ...run.result, map } }
    const main = circuitVerdicts(told).find(({ circuit }) => circuit === 'main')!
    expect(main).toMatchObject({ verdict: 'on_target' })
    expect(main.bandRich).toBeCloseTo(0.16)
    const html = reportHtml({ analysis: told })
    expect(html).toContain('Full scale λ ± 0.20 about target')
    // Scale of 232 units from 4 on: the rich post at −0.16 of ±0.20, the mark right of it.
    const gate = html.split('<svg class="gate"').find((svg) => svg.includes('Main: on target'))!
    const at = (of: RegExp) => Number(of.exec(gate)![1])
    expect(at(/x1="([\d.]+)"[^>]*class="post"/)).toBeCloseTo(27.2, 1)
    expect(at(/x1="([\d.]+)" y1="31"/)).toBeGreaterThan(27.2)
  })
})

describe('mapTable', () => {
  it('prints the number in each cell, load rising upward, and leaves thin cells empty', () => {
    const html = mapTable(
      {
        rpm_edges: [1000, 1500, 2000],
        load_edges: [0.4, 0.5, 0.6],
        load_channel: 'manifold_pressure',
        lambda: [
          [1.02, 0.9],
          [1.1, null],
        ],
        seconds: [
          [30, 0.4],
          [5, 0],
        ],
        error: [
          [0, -0.1],
          [0.08, null],
        ],
      },
      lambdaUnit,
    )
    expect(html.indexOf('1.10')).toBeLessThan(html.indexOf('1.02'))
    expect(html).not.toContain('0.90')
    expect(html).toContain('is-lean')
  })

  it('counts, colours and names its cells as the page does', () => {
    const map = {
      rpm_edges: [500, 1000],
      load_edges: [0.3, 0.4],
      load_channel: 'manifold_pressure',
      lambda: [[0.98]],
      seconds: [[12]],
      error: [[0.028]],
    }
    const page = pageMap({ ...map, values: map.lambda, distances: map.error, quietBand: MAP_QUIET_LAMBDA })
    expect(page).toMatchObject({ rpm: [750], load: ['35'], rows: [[{ side: 'inside' }]] })
    const html = mapTable(map, lambdaUnit)
    expect(html).toContain('<th scope="row">35</th>')
    expect(html).toContain('<th scope="col">750</th>')
    expect(html).toContain('<td class="solid">0.98</td>')
    const far = { ...map, error: [[-0.08]] }
    expect(mapTable(far, lambdaUnit)).toMatch(/<td class="solid is-rich" style="background/)
    expect(mapTable({ ...far, load_channel: 'none' }, lambdaUnit)).toMatch(
      />all<.*<td class="solid">0\.98<\/td>/,
    )
  })
})

describe('reportHtml', () => {
  it('gives air, coolant and power in the units of the car, or in those asked for', () => {
    const run = wrongMain()
    const air = { temperature_C: 20, pressure_kPa: 100, humidity_pct: 0, source: 'own barometer' }
    const pulls = [{ start_s: 1, end_s: 9, peak_kW: 15, correction: 'sae_j1349' }]
    const result = { ...run.result, run: { ...run.result.run, air }, pulls } as unknown as AnalysisResult
    const car = { id: 'x', units: { temperature: 'F', pressure: 'inHg', distance: 'mi', power: 'hp' } }
    const sheet = reportHtml({ analysis: { ...run, result }, car })
    expect(sheet).toMatch(/air 68 °F, 29\.53 inHg, .*density altitude 1\d{3} ft/)
    expect(sheet).toContain('1, 20 hp (SAE J1349)')
    const asked = reportHtml({
      analysis: { ...run, result },
      car,
      units: { temperature: 'C', pressure: 'inHg_vacuum' },
    })
    expect(asked).toContain('air 20 °C, 29.53 inHg,')
    expect(reportHtml({ analysis: { ...run, result } })).toMatch(/air 20 °C, 100\.0 kPa, .*1, 15 kW/s)
  })

  it('is a whole document that loads nothing, with headline, gates, parts and cautions', () => {
    const html = reportHtml({ analysis: wrongMain(), fitted: { main_jet: { label: '71', bore_mm: 1.85 } } })
    expect(html.startsWith('<!doctype html>')).toBe(true)
    expect(html).toContain('One circuit is off')
    expect(html).toContain('71 (1.85 mm)')
    expect(html).toContain('no certified measurement')
    expect(html).not.toMatch(/(src|href)=/)
    expect(html).not.toContain('NaN')
  })

  it('tells how well like pulls repeat', () => {
    const run = wrongMain()
    const pull = { start_s: 0, end_s: 6, rpm_from: 2000, rpm_to: 4500, peak_kW: 62, peak_at_rpm: 4000 }
    const result = {
      ...run.result,
      pulls: [{ ...pull, correction: 'sae_j1349' }],
      pull_repeat: { pulls: 3, peak_kW: 61.6, scatter_kW: 0.4, half_band_kW: 1.04, band: [] },
    }
    const html = reportHtml({ analysis: { ...run, result } })
    expect(html).toContain('1, 62 kW (SAE J1349); mean of 3 like ones 62 ± 1.0 kW')
  })

  it('gives the mixture in the unit that is wanted, or that the profile names', () => {
    const afr = reportHtml({ analysis: wrongMain(), mixtureUnit: 'afr' })
    expect(afr).toMatch(/Full scale AFR ± 2\.[012] about target/)
    expect(afr).not.toContain('λ')
    const profile = { id: 'x', name: 'X', units: { mixture: 'phi' } }
    expect(reportHtml({ analysis: wrongMain(), car: profile })).toContain('Full scale φ ± 0.13 about target')
  })

  it('names each warning of the run, and the worst mixture with the lean one alone', () => {
    const run = wrongMain()
    const alarm = { priority: 'warning' as const, start_s: 5, end_s: 9 }
    const hot = { ...alarm, code: 'coolant_hot', worst: 118 }
    const lean = { ...alarm, code: 'lean_under_load', worst: 1.01 }
    const html = (alarms: (typeof hot)[]) =>
      reportHtml({ analysis: { ...run, result: { ...run.result, alarms } } })
    expect(html([hot, lean])).toContain(
      'Warned 2 times during this run (lean under load, coolant hot, at worst λ 1.01). Lean under load',
    )
    expect(html([hot])).toContain('Warned 1 time during this run (coolant hot).</p>')
  })

  it('escapes what people wrote', () => {
    const run = wrongMain()
    const result = {
      ...run.result,
      run: { ...run.result.run, title: '<b>ö & "x"', notes: [{ t_s: 5, text: '<i>' }] },
    }
    const html = reportHtml({ analysis: { ...run, result }, car: { id: 'x', name: 'A <script>' } })
    expect(html).not.toContain('<script>')
    expect(html).toContain('A &lt;script&gt;')
    expect(html).toContain('&lt;b&gt;ö &amp; &quot;x&quot;')
  })

  it('names the zone of the clock that the run began by', () => {
    const run = wrongMain()
    const html = (start: string, zone?: string) =>
      reportHtml({ analysis: { ...run, result: { ...run.result, run: { ...run.result.run, start, zone } } } })
    expect(html('2026-05-04T09:12:30.120+02:00')).toContain('<div>2026-05-04 09:12 UTC+02:00</div>')
    expect(html('2026-05-04T09:12:30.120Z')).toContain('<div>2026-05-04 09:12 UTC</div>')
    const inBerlin = html('2026-05-04T07:12:30.120Z', 'Europe/Berlin')
    expect(inBerlin).toContain('<div>2026-05-04 09:12 UTC+02:00</div>')
    expect(inBerlin).toMatch(/<title>[^<]*2026-05-04 09:12 UTC\+02:00<\/title>/)
    expect(html('2026-05-04')).toContain('<div>date unknown</div>')
  })

  it('stays whole for an empty run', () => {
    const html = reportHtml({ analysis: { result: syntheticResult({}), pieces: [], startMs: Number.NaN } })
    expect(html).toContain('Not enough steady driving')
    expect(html).not.toContain('NaN')
  })
})
