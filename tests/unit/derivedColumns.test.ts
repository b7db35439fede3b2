import { describe, expect, it } from 'vitest'
import { createCaptureAnalyser } from '../../core/pipeline/analyseCapture.ts'
import { noCode } from '../../core/pipeline/derivedColumns.ts'
import { findCar } from '../../simulator/cars.ts'
import { simulateRun } from '../../simulator/run.ts'

const { bytes } = simulateRun({ car: findCar('pebble'), seconds: 90, seed: 11, gps: true })

function derive(chunkBytes: number) {
  const analyser = createCaptureAnalyser()
  for (let at = 0; at < bytes.length; at += chunkBytes) analyser.push(bytes.subarray(at, at + chunkBytes))
  return analyser.endWithColumns()
}

const bytesOf = ({ buffer, byteOffset, byteLength }: ArrayBufferView) =>
  Buffer.from(buffer, byteOffset, byteLength)

describe('columns of a run, sample by sample', () => {
  const { analysis, columns } = derive(bytes.length)
  const [bank] = columns.banks

  it('are the same however the file is cut', () => {
    const cut = derive(4099).columns
    const pairs: [ArrayBufferView, ArrayBufferView][] = [
      [cut.timeS, columns.timeS],
      [cut.state, columns.state],
      [cut.banks[0].lambda, bank.lambda],
      [cut.banks[0].lambdaAtCause, bank.lambdaAtCause],
      [cut.banks[0].trust, bank.trust],
    ]
    cut.channels.forEach(({ name, values }, i) => {
      expect(name).toBe(columns.channels[i].name)
      pairs.push([values, columns.channels[i].values])
    })
    for (const [a, b] of pairs) expect(bytesOf(a).equals(bytesOf(b))).toBe(true)
  })

  it('come with the very analysis that is made without them', () => {
    const plain = createCaptureAnalyser()
    plain.push(bytes)
    expect(plain.end()).toEqual(analysis)
  })

  it('tell the state that the result tells at that moment', () => {
    expect(analysis.result.states.length).toBeGreaterThan(3)
    let agreeing = 0
    for (const { state, start_s, end_s } of analysis.result.states) {
      for (let i = 0; i < columns.timeS.length; i++) {
        if (columns.timeS[i] < start_s || columns.timeS[i] >= end_s) continue
        expect(columns.stateNames[columns.state[i]]).toBe(state)
        agreeing++
      }
    }
    expect(agreeing).toBeGreaterThan(0.95 * columns.timeS.length)
  })

  it('hold λ only where it may be believed', () => {
    let trusted = 0
    for (let i = 0; i < columns.timeS.length; i++) {
      if (Number.isNaN(bank.lambda[i])) continue
      trusted++
      expect(columns.trustNames[bank.trust[i]]).toBe('ok')
    }
    expect(trusted).toBeGreaterThan(1000)
  })

  it('hold known channels in inside units and say which', () => {
    const coolant = columns.channels.find(({ name }) => name === 'coolant')
    expect(coolant?.unit).toBe('C')
    const speed = columns.channels.find(({ name }) => name === 'road_speed')
    expect(speed?.unit).toBe('m/s')
    expect(columns.stoichiometricRatio).toBeGreaterThan(13)
  })

  it('are empty for a run without a sample', () => {
    const analyser = createCaptureAnalyser()
    analyser.push(new TextEncoder().encode('floatbowl-capture 1\n'))
    const empty = analyser.endWithColumns().columns
    expect(empty.timeS.length).toBe(0)
    expect([...empty.state].every((code) => code === noCode)).toBe(true)
  })
})
