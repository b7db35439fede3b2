import { execFileSync } from 'node:child_process'
import { existsSync } from 'node:fs'
import { describe, expect, it } from 'vitest'

const root = new URL('../..', import.meta.url).pathname

/** The names that users of the library may rely on. */
const contractNames = [
  'stoichiometricRatio',
  'blendFuels',
  'fuels',
  'lambdaFromPumpCurrent',
  'pumpCurrentFromLambda',
  'cellTemperatureC',
  'lambdaFromExhaustGas',
  'standardAtmosphere',
  'saturationPressureKpa',
  'airDensityKgM3',
  'densityAltitudeM',
  'powerCorrection',
  'thermistorTemperatureC',
  'thermocoupleTemperatureC',
  'drillDiameterMm',
  'crc16',
  'decodeLine',
  'encodeLine',
  'scanCapture',
  'createPipeline',
  'compareRuns',
  'advise',
]

/** Runs a line of a user's program in plain Node, where `floatbowl/core` is the built package. */
const inPlainNode = (program: string): unknown =>
  JSON.parse(
    execFileSync(process.execPath, ['--input-type=module', '-e', program], { cwd: root, encoding: 'utf8' }),
  )

describe('floatbowl/core as a package', () => {
  it('offers every contract name to plain Node', () => {
    const names = inPlainNode(
      "import * as core from 'floatbowl/core'; console.log(JSON.stringify(Object.keys(core)))",
    )
    expect(names).toEqual(expect.arrayContaining(contractNames))
  })

  it('ships types beside the code', () => {
    expect(existsSync(`${root}/dist/core/index.d.ts`)).toBe(true)
  })

  it('computes in plain Node what it computes in tests', () => {
    const answer = inPlainNode(
      "import { crc16, lambdaFromPumpCurrent, drillDiameterMm, fuels } from 'floatbowl/core'; " +
        "console.log(JSON.stringify([crc16(new TextEncoder().encode('123456789')), lambdaFromPumpCurrent(0.671), " +
        "drillDiameterMm('60'), fuels.methanol.stoichiometricRatio]))",
    ) as number[]
    expect(answer[0]).toBe(0x29b1)
    expect(answer[1]).toBeCloseTo(1.429, 9)
    // ASME B94.11M: number 60 is 0.0400 in.
    expect(answer[2]).toBeCloseTo(1.016, 6)
    // CH3OH after Heywood section 3.4.
    expect(answer[3]).toBeCloseTo(6.43, 1)
  })

  it('throws a RangeError that shows the value for a caller’s mistake', () => {
    const text = inPlainNode(
      "import { drillDiameterMm } from 'floatbowl/core'; let e; try { drillDiameterMm('999') } catch (x) { e = x } " +
        'console.log(JSON.stringify([e instanceof RangeError, e.message]))',
    ) as [boolean, string]
    expect(text[0]).toBe(true)
    expect(text[1]).toContain('999')
  })
})
