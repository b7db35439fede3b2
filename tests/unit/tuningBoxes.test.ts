import { describe, expect, it } from 'vitest'
import type { Box, CarProfile, Fitted } from '../../core/contract/car.ts'
import type { RunAnalysis } from '../../core/contract/result.ts'
import { advise } from '../../core/tuning/advise.ts'
import { circuitVerdicts } from '../../core/tuning/circuitVerdicts.ts'
import { drillDiameterMm } from '../../core/tuning/drills.ts'
import type { MissingSize } from '../../core/tuning/missingSizes.ts'
import { reportHtml } from '../../core/tuning/reportHtml.ts'
import { box, drive, engine, right, sizes, tipIn, withPart } from '../support/jettingCar.ts'

const leanMain = withPart('main_jet', { bore_mm: 1.72 })
/** The run as its owner would have noted the parts. */
const noted = (run: RunAnalysis, fitted: Fitted | undefined): RunAnalysis => {
  const { fitted: _, ...rest } = run.result.run
  return { ...run, result: { ...run.result, run: fitted ? { ...rest, fitted } : rest } }
}
const lean = drive(leanMain, 1)
const textOf = (advice: { summary?: unknown; warnings?: string[] }) =>
  [advice.summary, ...(advice.warnings ?? [])].join(' ')

describe('a box as its owner writes it', () => {
  it('takes a bore by number drill, in thousandths, in inches, and as text', () => {
    const ways: [Record<string, unknown>, Record<string, unknown>][] = [
      [{ drill: '51' }, { drill: '49' }],
      [{ bore_thou: 67 }, { bore_thou: 73 }],
      [{ bore_in: 0.067 }, { bore_in: 0.073 }],
      [{ bore: '67 thou' }, { bore: '#49' }],
    ]
    for (const [from, to] of ways) {
      const fitted = { ...leanMain, main_jet: { label: 'in', ...from } } as Fitted
      const { next } = advise([noted(lean, fitted)], { main_jet: [{ label: 'out', ...to }] } as Box)
      expect(next).toMatchObject({ part: 'main_jet', direction: 'richer', to: { label: 'out', ...to } })
      expect(next!.to.bore_mm).toBeCloseTo(1.854, 2)
      expect(next!.from.bore_mm).toBeCloseTo(1.702, 1)
    }
    expect(drillDiameterMm('49')).toBeCloseTo(1.854, 3)
  })

  it('takes the steps of a metering rod in inches', () => {
    const jet = { label: '95', bore_mm: 2.4 }
    const rodded = {
      ...right,
      main_jet: jet,
      rod: { label: 'A', cruise_in: 0.067, power_in: 0.052 },
    } as Fitted
    const rods = [{ label: 'B', cruise_in: 0.063, power_in: 0.048 }]
    const { next } = advise([noted(lean, rodded)], { rod: rods } as Box)
    expect(next).toMatchObject({ part: 'rod', to: { label: 'B', cruise_mm: 1.6002, power_mm: 1.2192 } })
  })

  it('names the field of a size that is none', () => {
    const jets = (part: object) =>
      ({
        main_jet: [
          { label: '70', bore_mm: 1.8 },
          { label: 'x', ...part },
        ],
      }) as Box
    expect(() => advise([lean], jets({ drill: '99' }))).toThrow(/main_jet\.1\.drill.*99/)
    expect(() => advise([lean], jets({ bore: '' }))).toThrow(/main_jet\.1\.bore/)
    expect(() => advise([lean], jets({ bore_in: 60 }))).toThrow(/main_jet\.1\.bore_in/)
  })

  it('sizes a fitted part that is noted by its label alone from the box', () => {
    const fitted = { ...leanMain, main_jet: { label: '172' } }
    const jets = [{ label: '172', bore_mm: 1.72 }, ...box.main_jet]
    const advice = advise([noted(lean, fitted)], { main_jet: jets })
    expect(advice.next).toMatchObject({ part: 'main_jet', from: { label: '172', bore_mm: 1.72 } })
    // Two sizes of one label say nothing.
    const twice = advise([noted(lean, fitted)], { main_jet: [...jets, { label: '172', bore_mm: 1.9 }] })
    expect(twice.next).toBeNull()
    expect(twice.summary).toContain('without a bore')
  })

  it('looks at the sizes near the fitted one in a box of 200', () => {
    const many = Array.from({ length: 200 }, (_, i) => ({ label: `n${i}`, bore_mm: 1 + i * 0.0075 }))
    for (const jets of [many, [...many].reverse()]) {
      const { next } = advise([lean], { main_jet: jets })
      expect(next?.part).toBe('main_jet')
      expect(Math.abs(Number(next?.to.bore_mm) - 1.85)).toBeLessThan(0.05)
    }
  })

  it('takes a count in the box for how many are there', () => {
    const two = noted(lean, { ...leanMain, main_jet: { label: '172', bore_mm: 1.72, count: 2 } })
    const withCount = (count: number) => advise([two], { main_jet: [{ label: '185', bore_mm: 1.85, count }] })
    expect(withCount(4).next).toMatchObject({ to: { label: '185' }, area_factor: 1.1569 })
    expect(withCount(1).next).toBeNull()
    expect(textOf(withCount(1))).toContain('the box has too few of one size')
  })

  it('says of a box why it does not help', () => {
    const why = (jets: Box[string]) => textOf(advise([lean], { main_jet: jets }))
    expect(why([{ label: '172', bore_mm: 1.72 }])).toContain('the box holds only what is fitted')
    expect(why([])).toContain('the box has no such part')
    expect(why([{ label: 'q', flow: 300 }])).toContain('gives its main jets by flow')
    expect(why([{ label: '100', bore_mm: 1 }])).toContain('has none near it')
  })

  it('says which parts of the box it knows no use for, when it finds nothing', () => {
    const other = advise([lean], { primary_jets: box.main_jet, secondary_jet: box.main_jet })
    expect(textOf(other)).toMatch(/not used.*primary jets.*secondary jet/)
    expect(textOf(advise([drive(right, 1)], { primary_jets: box.main_jet }))).not.toContain('not used')
  })
})

describe('parts whose size cannot be worked with', () => {
  it('are said in the words of the part', () => {
    const leanIdle = { ...right, idle_screws: { label: '0.75', turns: 0.75 } }
    const rightElse = engine(right)
    const lambdaAt: typeof rightElse = (rpm, load, state) =>
      state === 'idle' ? 1.06 : rightElse(rpm, load, state)
    const idle = drive(leanIdle, 1, { lambdaAt })
    const unsized = advise([noted(idle, { ...right, idle_screws: { label: 'as found' } })], box)
    expect(unsized.summary).toBe('Cannot choose: the idle mixture screws are noted without their turns.')
    const shut = advise([noted(idle, { ...right, idle_screws: { label: '0', turns: 0 } })], box)
    expect(shut.summary).toMatch(/idle mixture screws are noted as shut.*open them/i)
  })

  it('takes no jet with a rod of unknown diameter for a plain one', () => {
    const rod = { label: 'x', bore_mm: 1.2 }
    const advice = advise([noted(lean, { ...leanMain, rod } as Fitted)], box)
    expect(advice.next?.part).not.toBe('main_jet')
    expect(textOf(advice)).toContain('metering rod is noted without its diameters')
  })

  it('turns screws by quarters where the box lists them without turns', () => {
    const { next } = advise([drive(withPart('idle_screws', { turns: 0.75 }), 1)], {
      idle_screws: [{ label: 'long' }, { label: 'short' }],
    })
    expect(next).toMatchObject({ part: 'idle_screws', direction: 'richer' })
    expect((next!.to.turns! * 4) % 1).toBe(0)
  })

  it('leaves alone the circuits that the profile does not name', () => {
    const leanPower = drive(withPart('power_restriction', { bore_mm: 1.25 }), 1)
    expect(advise([leanPower], box).next?.part).toBe('power_restriction')
    const { next, also } = advise([leanPower], box, { car: { id: 'x', circuits: ['idle', 'main'] } })
    expect([next, ...also].some((change) => change?.part === 'power_restriction')).toBe(false)
  })
})

describe('what is missing from the box', () => {
  it('is named only if with it every state is within its band', () => {
    // Lean power with a right cruise: a larger main jet would put power right and cruise wrong.
    const { power_restriction: _, ...noPower } = withPart('power_restriction', { bore_mm: 1.1 })
    const run = noted(drive(withPart('power_restriction', { bore_mm: 1.1 }), 1), noPower)
    const advice = advise([run], { main_jet: [] })
    expect(advice.states.power.verdict).toBe('lean')
    expect(textOf(advice)).not.toContain('would do')
  })

  it('is two sizes where one alone would put another state out', () => {
    // A main jet that makes cruise rich and a restriction that keeps power right beside it.
    const fitted = {
      ...withPart('main_jet', { bore_mm: 2.03 }),
      power_restriction: { label: 'y', bore_mm: 1.1 },
    }
    const advice = advise([drive(fitted, 1)], {})
    const wanted = advice.missing_sizes as MissingSize[]
    expect(wanted.map(({ part }) => part).sort()).toEqual(['main_jet', 'power_restriction'])
    const boreOf = (part: string) => wanted.find((size) => size.part === part)?.bore_mm
    expect(boreOf('main_jet')).toBeLessThan(1.92)
    expect(boreOf('power_restriction')).toBeGreaterThan(1.2)
    expect(textOf(advice)).toContain(
      'would do together with another power restriction; the box has no such part',
    )
    // With the jets at hand only the other is wanted, if the plan can use them.
    const withJets = advise([drive(fitted, 1)], { main_jet: sizes(1.6, 2.1, 0.03) })
    expect((withJets.missing_sizes as MissingSize[] | undefined)?.length ?? 0).toBeLessThan(2)
  })

  it('is not asked for while the next change puts things right', () => {
    const advice = advise([lean], { main_jet: [{ label: '185', bore_mm: 1.85 }] })
    expect(advice.next?.to.label).toBe('185')
    expect(advice.missing_sizes).toBeUndefined()
  })
})

describe('a pump with nothing for it in the box', () => {
  const withTips = (count: number, fitted: Fitted = right) => {
    const run = drive(fitted, 1)
    return {
      ...run,
      result: { ...run.result, transients: Array.from({ length: count }, () => tipIn('lean_at_once')) },
    }
  }

  it('ends the swaps, since every state is in its band, but is not called right', () => {
    const advice = advise([withTips(10)], { squirter: [{ label: '60', bore_mm: 0.6 }] })
    expect(advice.states.pump.verdict).toBe('lean')
    expect(advice).toMatchObject({ done: true, next: null })
    expect(advice.summary).toMatch(/openings go lean at once.*nothing in the box/i)
    expect(advice.summary).not.toContain('every state is where it belongs')
  })

  it('is done with, and said, when no part of it is noted', () => {
    const { squirter: _, ...noPump } = right
    const advice = advise([noted(withTips(10), noPump)], {})
    expect(advice.done).toBe(true)
    expect(advice.summary).toMatch(/openings go lean at once/)
  })

  it('says that labels do not tell which spring or squirter is the larger', () => {
    const fitted = { ...right, squirter: { label: 'B' } }
    const { next } = advise([noted(withTips(10), fitted)], { squirter: [{ label: 'A' }, { label: 'C' }] })
    expect(next).toMatchObject({ part: 'squirter', to: { label: 'A' } })
    expect(next!.because.join(' ')).toMatch(/no bore is noted.*A is the larger/i)
  })

  it('counts all lean openings, whether at once or later', () => {
    const run = withTips(4)
    run.result.transients = [
      ...run.result.transients,
      tipIn('lean_later'),
      tipIn('lean_later'),
      tipIn('clean'),
    ]
    const { next } = advise([run], box)
    expect(next!.because[0]).toMatch(/^6 of 7 throttle openings go lean, most of them at once/)
  })
})

describe('full throttle', () => {
  it('is never asked for in one breath with the warning to keep off it', () => {
    const little = drive(withPart('power_restriction', { bore_mm: 1.25 }), 1)
    let kept = 0
    const pieces = little.pieces.filter((piece) => piece.state !== 'power' || kept++ < 6)
    const advice = advise([{ ...little, pieces }], {})
    expect(advice.states.power.verdict).toBe('lean')
    expect(advice.needs?.some(({ state }) => state === 'power') ?? false).toBe(false)
  })

  it('is asked for in no more seconds than a few pulls have, with its caution', () => {
    const run = drive(right, 1)
    const advice = advise([{ ...run, pieces: run.pieces.filter(({ state }) => state !== 'power') }], box)
    const power = advice.needs?.find(({ state }) => state === 'power')
    expect(power?.seconds).toBeLessThanOrEqual(30)
    expect((advice.cautions as string[]).join(' ')).toContain('only where it is legal')
  })
})

describe('home air', () => {
  it('is named with its side when the day was far from it', () => {
    const home_air = { temperature_C: 25, pressure_kPa: 79, humidity_pct: 30 }
    const { warnings } = advise([drive(right, 1)], box, { car: { id: 'x', home_air } })
    expect(warnings!.join(' ')).toMatch(/today's air was denser.*read leaner by 1\d %/i)
    expect(advise([drive(right, 1)], box).warnings!.join(' ')).not.toMatch(/denser|thinner/)
  })
})

describe('a board without manifold pressure', () => {
  const told = (run: RunAnalysis, load_channel: string, pieces: RunAnalysis['pieces']): RunAnalysis => ({
    ...run,
    pieces,
    result: { ...run.result, map: { ...run.result.map, load_channel } },
  })

  it('makes no jet smaller for a part throttle that may be full load on a small engine', () => {
    const run = drive(right, 1)
    const pieces = run.pieces.map((piece) =>
      piece.state === 'part_throttle' ? { ...piece, lambda: 0.86 + 0.005 * Math.sin(piece.timeS) } : piece,
    )
    expect(advise([told(run, 'throttle', pieces)], box).states.part_throttle.verdict).toBe('on_target')
    const main = circuitVerdicts(told(run, 'throttle', pieces)).find(({ circuit }) => circuit === 'main')
    expect(main?.verdict).toBe('on_target')
  })

  it('makes no jet smaller for a mean of all driving that may hold much full load', () => {
    const mean = (lambda: number) => {
      const run = drive(right, 1)
      const pieces = run.pieces.map((piece) =>
        piece.state === 'idle' ? piece : { ...piece, state: 'running' as const, load: Number.NaN, lambda },
      )
      return advise([told(run, 'none', pieces)], box)
    }
    expect(mean(0.91)).toMatchObject({ done: true, next: null })
    expect(mean(1.1).next).toMatchObject({ part: 'main_jet', direction: 'richer' })
    expect(mean(0.78).next).toMatchObject({ part: 'main_jet', direction: 'leaner' })
  })

  it('has no say in cruise and part throttle beside runs whose load the pressure tells, nor they where it is the newest', () => {
    const days = [drive(right, 1), drive(right, 2), drive(right, 3)]
    const blind = (run: RunAnalysis) =>
      told(
        run,
        'throttle',
        run.pieces.map((piece) =>
          piece.state === 'part_throttle' || piece.state === 'cruise'
            ? { ...piece, lambda: 0.9 * piece.lambda }
            : piece,
        ),
      )
    const lambdasOf = (runs: readonly RunAnalysis[]) => {
      const { states } = advise(runs, box)
      return [states.cruise.lambda, states.part_throttle.lambda]
    }
    for (const [mixed, alike] of [
      [
        [days[0], blind(days[1]), days[2]],
        [days[0], days[2]],
      ],
      [[days[0], days[1], blind(days[2])], [blind(days[2])]],
    ]) {
      const wanted = lambdasOf(alike)
      lambdasOf(mixed).forEach((lambda, i) => {
        expect(Math.abs(Number(lambda) - Number(wanted[i]))).toBeLessThan(0.005)
      })
    }
  })
})

describe('the printed sheet', () => {
  const sheet = (run: RunAnalysis, at: Box = box, car?: CarProfile) =>
    reportHtml({ analysis: run, advice: advise([run], at, car ? { car } : {}), ...(car ? { car } : {}) })

  it('has the dangers and the cautions of an advice that names no part', () => {
    const html = sheet(lean, {})
    expect(html).toContain('A size is missing')
    expect(html).toContain('no full throttle until it is put right')
    expect(html.split('A size is missing')).toHaveLength(2)
    expect(html).not.toContain('Drain the bowl')
    const run = drive(right, 1)
    const gentle = { ...run, pieces: run.pieces.filter(({ state }) => state !== 'power') }
    expect(sheet(gentle)).toContain('Full throttle only where it is legal')
  })

  it('has the factors of an injection, and no carburettor to open', () => {
    const html = sheet(lean, {}, { id: 'tbi', metering: 'throttle_body_injection' })
    expect(html).toMatch(/<h2>Correction factors<\/h2>.*part throttle.*1\.\d\d\d/s)
    expect(html).not.toContain('Drain the bowl')
    expect(html).not.toContain('idle mixture screws</span>')
  })

  it('sends nobody to drive what the board cannot tell apart', () => {
    const blind: RunAnalysis = {
      ...lean,
      pieces: lean.pieces.map((piece) => ({ ...piece, state: 'running' as const, load: Number.NaN })),
      result: {
        ...lean.result,
        channels_used: ['lambda'],
        map: { ...lean.result.map, load_channel: 'none' },
        scorecard: { ...lean.result.scorecard, on_target_share: 0.16 },
      },
    }
    const html = sheet(blind)
    expect(html).not.toMatch(/more of warm idling|16 %/)
    expect(html).toContain('needs engine speed')
  })

  it('says once what two banks have in common', () => {
    const both = lean.pieces.flatMap((piece) => [
      piece,
      { ...piece, bank: 2 as const, lambda: piece.lambda * 0.88 },
    ])
    const { warnings } = advise([{ ...lean, pieces: both }], box)
    expect(warnings!.filter((text) => text.includes('What feeds both alike'))).toHaveLength(1)
  })
})
