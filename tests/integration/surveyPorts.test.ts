import { afterEach, describe, expect, it } from 'vitest'
import { readableLine } from '../../bridge/source/readableLine.ts'
import { hear } from '../../bridge/source/surveyPorts.ts'
import { encodeLine } from '../../core/line/encodeLine.ts'
import { openDeafPty } from '../support/pty.ts'

const endings: (() => void)[] = []
afterEach(() => {
  for (const end of endings.splice(0).reverse()) end()
})

/** A port on which something speaks ten times a second. */
function speaker(say: string | Uint8Array) {
  const pty = openDeafPty()
  const timer = setInterval(() => pty.master.write(say), 100)
  endings.push(
    () => pty.hangUp(),
    () => clearInterval(timer),
  )
  return { path: pty.path, description: '' }
}

describe('listening to a port', () => {
  it('tells a board of our format by its name', async () => {
    const identity = encodeLine({
      kind: 'identity',
      version: 1,
      boardName: 'bench board',
      firmware: '0.3',
      uniqueId: '7f3a',
      ticksPerSecond: 1e6,
    })
    expect(await hear(speaker(`${identity}\r\n`))).toMatchObject({
      speaks: 'board: bench board at 115200 baud',
      baud: 115_200,
    })
  })

  it('tells a position receiver', async () => {
    const sentence = '$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47\r\n'
    expect((await hear(speaker(sentence))).speaks).toBe('position receiver at 115200 baud')
  })

  it('shows a line of another text, at the speed at which it is one', async () => {
    expect((await hear(speaker('rpm 850 lambda 0.97\r\n'))).speaks).toBe(
      'other text at 115200 baud: "rpm 850 lambda 0.97"',
    )
  })

  it('tells silence without trying the rarer speeds', async () => {
    expect((await hear(speaker(new Uint8Array(0)))).speaks).toBe('silent')
  })

  it('says why a port that is not there cannot be opened', async () => {
    const survey = await hear({ path: '/dev/ttyNONE99', description: '' })
    expect(survey.speaks).toBe('not opened')
    expect(survey.problem).toContain('/dev/ttyNONE99')
  })
})

describe('readableLine', () => {
  it('gives a whole line, not the cut ones around it', () => {
    expect(readableLine('50;0.97\r\n860;0.98;88.5\r\n870;0.9')).toBe('860;0.98;88.5')
  })

  it('gives nothing for bytes of a wrong speed, or for too few', () => {
    const noise = Array.from({ length: 200 }, (_, i) => String.fromCharCode((i * 97) & 0xff)).join('')
    expect(readableLine(noise)).toBeUndefined()
    expect(readableLine('850;0.97\r\n')).toBeUndefined()
  })
})
