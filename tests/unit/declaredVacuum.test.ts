import { describe, expect, test } from 'vitest'
import { captureHeader, encodeLine, formatCaptureLine } from '../../core/index.ts'
import { createCaptureAnalyser } from '../../core/pipeline/analyseCapture.ts'

const kpaPerInHg = 3.386389
const hz = 20

interface Day {
  /** Pressure of the air around, kPa. */
  airKpa: number
  hasBarometer?: boolean
  hasRecord?: boolean
}

/** A drive whose board tells manifold vacuum: engine off, then cruise at load 0.5, then part throttle at load 0.75. */
function driveBytes({ airKpa, hasBarometer, hasRecord }: Day): Uint8Array {
  const channels: readonly (readonly [string, string, number])[] = [
    ['engine_speed', 'rpm', 1],
    ['lambda', '1', 0.001],
    ['throttle', '%', 0.1],
    ['manifold_pressure', 'inHg_vacuum', 0.01],
    ['barometer', 'kPa', 0.01],
  ]
  const sent = hasBarometer ? channels : channels.slice(0, -1)
  const lines: string[] = [captureHeader]
  const say = (timeS: number, text: string) => lines.push(formatCaptureLine(timeS, '<0', text))
  if (hasRecord) {
    const air = { type: 'air', temperature_C: 15, pressure_kPa: airKpa, humidity_pct: 40 }
    lines.push(formatCaptureLine(0, '=', JSON.stringify(air)))
  }
  say(
    0,
    encodeLine({
      kind: 'identity',
      version: 1,
      boardName: 'shed',
      firmware: '1',
      uniqueId: '1',
      ticksPerSecond: 1000,
    }),
  )
  sent.forEach(([name, unit, scale], index) => {
    say(0, encodeLine({ kind: 'channel', index, name, unit, scale, offset: 0 }))
  })
  for (let i = 0; i < 62 * hz; i++) {
    const timeS = i / hz
    const [rpm, throttle, load] = timeS < 2 ? [0, 0, 1] : timeS < 32 ? [2400, 15, 0.5] : [2600, 30, 0.75]
    const vacuum = (airKpa * (1 - load)) / kpaPerInHg
    const values = [rpm, 1, throttle, vacuum, airKpa].slice(0, sent.length)
    const raw = values.map((value, k) => Math.round(value / sent[k][2]))
    say(timeS, encodeLine({ kind: 'sample', seq: i, tick: Math.round(timeS * 1000), values: raw }))
  }
  return new TextEncoder().encode(`${lines.map((line) => line.trimEnd()).join('\n')}\n`)
}

function analyse(day: Day) {
  const analyser = createCaptureAnalyser()
  analyser.push(driveBytes(day))
  const { analysis, columns } = analyser.endWithColumns()
  return { result: analysis.result, columns }
}

/** What the run taught of the air. */
const airOf = (result: ReturnType<typeof analyse>['result']) =>
  result.run.learned as { barometer_kPa: number; barometer_from: string }

const stateAt = (result: ReturnType<typeof analyse>['result'], timeS: number) =>
  result.states.find(({ start_s, end_s }) => timeS >= start_s && timeS < end_s)?.state

describe('pressure that the board tells as vacuum', () => {
  test.each([101.325, 92, 80])("is taken against the board's own barometer at %s kPa", (airKpa) => {
    const { result } = analyse({ airKpa, hasBarometer: true })
    expect(stateAt(result, 20)).toBe('cruise')
    expect(stateAt(result, 50)).toBe('part_throttle')
  })

  test("believes the barometer before a day's record that says otherwise", () => {
    const { result } = analyse({ airKpa: 80, hasBarometer: true, hasRecord: true })
    expect(stateAt(result, 50)).toBe('part_throttle')
  })

  test.each([92, 80])(
    'is taken against the air of the day at %s kPa where the board has no barometer',
    (airKpa) => {
      const { result } = analyse({ airKpa, hasRecord: true })
      expect(airOf(result).barometer_kPa).toBeCloseTo(airKpa, 3)
      expect(airOf(result).barometer_from).toBe('air_record')
      expect(stateAt(result, 20)).toBe('cruise')
      expect(stateAt(result, 50)).toBe('part_throttle')
    },
  )

  test('teaches nothing of the air where nobody tells it', () => {
    const { result } = analyse({ airKpa: 92 })
    expect(airOf(result).barometer_from).toBe('assumed')
  })
})
