import { describe, expect, test } from 'vitest'
import type { ComparisonResult } from '../../core/contract/advice.ts'
import type { LiveReading } from '../../core/contract/live.ts'
import type { AnalysisResult } from '../../core/contract/result.ts'
import { createPipeline } from '../../core/pipeline/createPipeline.ts'
import { waitingText } from '../../dashboard/parts/advice/adviceWords.ts'
import { headlineOf } from '../../dashboard/parts/compare/compareWords.ts'
import { shortBankName, shortBankNames } from '../../dashboard/words/bankNames.ts'
import { helperViews, mixtureWords, type Silence, silentWords } from '../../dashboard/words/driveWords.ts'
import { sizeText } from '../../dashboard/words/runWords.ts'
import { drivingLine, stateText } from '../../dashboard/words/stateWords.ts'
import { shownValue, spaced } from '../../dashboard/words/units.ts'

const nothing = Number.NaN
const cruising: LiveReading = {
  timeS: 100,
  state: 'cruise',
  banks: [{ bank: 1, lambda: 1.02, lambdaUncertainty: 0.005, warmingPct: 100, least10s: 1, most10s: 1.04 }],
  targetLambda: 1.02,
  bandRich: 0.04,
  bandLean: 0.04,
  stoichiometricRatio: 14.6,
  engineSpeedRpm: 2140,
  throttlePct: 18,
  manifoldKpa: 50,
  barometerKpa: 101.3,
  load: 0.5,
  coolantC: 88,
  intakeAirC: nothing,
  exhaustC: nothing,
  supplyV: 13.9,
  roadSpeedMs: nothing,
  oilKpa: nothing,
  fuelKpa: nothing,
  coverage: [{ item: 'cruise', have: 30.4, want: 90, unit: 's' }],
  steady: true,
  steadyWhyNot: '',
  alarms: [],
}
/** As the pipeline tells it after its first sample. */
function firstReading(engineSpeedRpm: number): LiveReading {
  const pipeline = createPipeline({})
  pipeline.push({
    source: 0,
    segment: 0,
    channels: [{ index: 0, name: 'engine_speed', unit: 'rpm', scale: 1, offset: 0 }],
    count: 1,
    timeS: Float64Array.of(0),
    columns: [Float32Array.of(engineSpeedRpm)],
  })
  return pipeline.live()
}
const units = { manifold: 'kPa', temperature: 'C', speed: 'km/h' } as const
const labels = (reading: Partial<LiveReading>) =>
  helperViews({ ...cruising, ...reading }, units).map(({ label, text, unit }) => `${label} ${text} ${unit}`)

describe('operating state in words', () => {
  test('nothing is said of an engine of which no moment was judged yet', () => {
    const first = firstReading(2270)
    expect(stateText(first)).toBe('–')
    expect(drivingLine(first)).toBe('')
    const read = { ...cruising, state: first.state, steadyWhyNot: first.steadyWhyNot, targetLambda: nothing }
    expect(mixtureWords(read, read.banks[0], 'lambda')).toMatchObject({
      number: '1.02',
      target: '',
      state: '',
    })
  })

  test('an engine that stands is off from the first sample on', () => {
    expect(stateText(firstReading(0))).toBe('off')
  })

  test('the line says what counts, and why it does not', () => {
    expect(drivingLine(cruising)).toBe('cruise 30/90 s')
    expect(drivingLine({ ...cruising, steady: false, steadyWhyNot: 'throttle is moving' })).toBe(
      'cruise 30/90 s · throttle is moving',
    )
  })

  test('the reason is not the state once more', () => {
    const overrun = { ...cruising, state: 'overrun', steady: false, steadyWhyNot: 'overrun' } as const
    expect(drivingLine({ ...overrun, coverage: [{ item: 'overrun', have: 1, want: 3 }] })).toBe(
      'overruns 1/3',
    )
  })

  test('air in the exhaust of an engine that stands is shown as no number', () => {
    const off = { ...cruising, state: 'off', targetLambda: nothing, engineSpeedRpm: 0 } as const
    const words = (bank: Partial<LiveReading['banks'][0]>) =>
      mixtureWords(off, { ...off.banks[0], ...bank }, 'afr')
    expect(words({ lambda: 6.4 })).toMatchObject({ kind: 'words', big: ['ENGINE', 'OFF'] })
    expect(words({ lambda: nothing, untrusted: 'out_of_range' })).toMatchObject({ big: ['ENGINE', 'OFF'] })
    // A sensor that warms before the start is what is waited for.
    expect(words({ lambda: nothing, untrusted: 'warming' })).toMatchObject({ big: ['SENSOR', 'WARMING'] })
  })

  test('a number without engine speed says why it has no target', () => {
    const reading = { ...cruising, state: 'running', targetLambda: nothing, engineSpeedRpm: nothing } as const
    expect(mixtureWords(reading, reading.banks[0], 'lambda')).toMatchObject({
      state: 'no target without engine speed',
    })
  })
})

describe('helpers', () => {
  test('are manifold pressure and engine speed', () => {
    expect(labels({})).toEqual(['manifold pressure 50 kPa', 'engine speed 2\u202f140 rpm'])
  })

  test('are coolant and engine speed while the engine warms', () => {
    expect(labels({ state: 'warm_up', coolantC: 31 })[0]).toBe('coolant 31 °C')
  })

  test('what a board lacks gives way to what it sends, never twice the same', () => {
    expect(labels({ manifoldKpa: nothing })[0]).toBe('throttle 18 %')
    const bare = { manifoldKpa: nothing, throttlePct: nothing, engineSpeedRpm: nothing }
    expect(labels(bare)).toEqual(['coolant 88 °C', 'supply 13.90 V'])
    expect(labels({ ...bare, coolantC: nothing })).toEqual(['manifold pressure – not sent', 'supply 13.90 V'])
    expect(labels({ ...bare, coolantC: nothing, supplyV: nothing })).toEqual([
      'manifold pressure – not sent',
      'engine speed – not sent',
    ])
  })
})

describe('words in place of a number', () => {
  const silence: Silence = {
    silentS: Number.POSITIVE_INFINITY,
    link: 'open',
    source: undefined,
    isGreeted: true,
    isPaired: true,
    forced: null,
  }
  const said = (given: Partial<Silence>) => {
    const words = silentWords({ ...silence, ...given })
    return words.kind === 'words' ? `${words.big.join(' ')}: ${words.reason}` : ''
  }
  test('a page that has just joined does not ask for a board that is there', () => {
    expect(said({ isGreeted: false })).toBe('CONNECTING: to the bridge')
    expect(said({ source: 'connected' })).toBe('CONNECTING: to the board')
    expect(said({ source: 'connecting' })).toBe('CONNECTING: to the board')
  })
  test('a bridge without a board asks for one', () => {
    expect(said({})).toBe('NO DATA YET: plug in the board')
    expect(said({ source: 'lost' })).toBe('NO DATA YET: plug in the board')
  })
  test('a board that fell silent is told with its seconds', () => {
    expect(said({ silentS: 3.4, source: 'connected' })).toBe('NO DATA: the board is silent')
    expect(said({ silentS: 3.4, link: 'lost' })).toBe('NO DATA: no link to the bridge')
  })
})

describe('short names of banks', () => {
  test('end at the first comma or bracket, on a whole word', () => {
    expect(shortBankName('left bank', 1)).toBe('left bank')
    expect(shortBankName('right bank, cylinders 2 4 6 8', 2)).toBe('right bank')
    expect(shortBankName('the far side of the engine bay', 1)).toBe('the far side of')
    expect(shortBankName('Zylinderbankgehäuse', 2)).toBe('bank 2')
    expect(shortBankName('', 2)).toBe('bank 2')
  })
  test('two that read alike are told apart by number', () => {
    expect(shortBankNames(['cylinders 1 to 3, front', 'cylinders 1 to 3, rear'])).toEqual([
      'bank 1',
      'bank 2',
    ])
    expect(shortBankNames(undefined)).toEqual(['bank 1', 'bank 2'])
  })
})

describe('numbers on the screen', () => {
  test('thousands stand apart, decimals stay together', () => {
    expect(spaced('2140')).toBe('2\u202f140')
    expect(spaced('1234567.8901')).toBe('1\u202f234\u202f567.8901')
    expect(spaced('0.0791')).toBe('0.0791')
    expect(spaced('\u22121250')).toBe('\u22121\u202f250')
  })
  test('a bore in inches reads as one figure', () => {
    expect(shownValue(1.9, 'in')).toEqual({ text: '0.0748', unit: 'in' })
  })
})

describe('two runs beside each other', () => {
  const result = (verdict: ComparisonResult['verdict']) =>
    ({ verdict, states: {} }) as unknown as ComparisonResult
  const run = { mixture: {} } as unknown as AnalysisResult
  test('of two cars neither got better or worse', () => {
    expect(headlineOf(result('leaner'), run, run, true)).toBe('The second car is leaner')
    expect(headlineOf(result('no_difference'), run, run, true)).toBe('No difference')
  })
})

describe('a wait for advice', () => {
  test('tells from how many runs, and from two seconds on how long already', () => {
    expect(waitingText(1, 0.4)).toBe('')
    expect(waitingText(12, 1.9)).toBe('from 12 runs')
    expect(waitingText(12, 8.6)).toBe('from 12 runs, 8\u202fs')
    expect(waitingText(12, 8.6, 0.402)).toBe('from 12 runs, 8\u202fs, 40\u202f%')
    expect(waitingText(1, 0.4, 0.4)).toBe('')
  })
})

describe('screws', () => {
  test('are shown to the eighth of a turn to which they are set', () => {
    expect(sizeText({ label: '1.50', turns: 1.5 })).toBe('1.50 turns')
    expect(sizeText({ label: '1.125', turns: 1.125 })).toBe('1.125 turns')
  })
})
