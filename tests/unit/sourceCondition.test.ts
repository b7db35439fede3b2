import { describe, expect, test } from 'vitest'
import { judgeSource, type SourceHearing } from '../../bridge/source/sourceCondition.ts'

const silentS = 2
const words = { connected: 'firmware 0.3', searching: '', unreadable: 'nothing can be read: check the speed' }
const open: SourceHearing = {
  wire: 'open',
  wireText: 'opened',
  openedS: 10,
  goodS: Number.NEGATIVE_INFINITY,
  bytesS: Number.NEGATIVE_INFINITY,
}
const judge = (nowS: number, change: Partial<SourceHearing>, search = '') =>
  judgeSource(nowS, { ...open, ...change }, silentS, { ...words, searching: search })

describe('a source', () => {
  test('is what its wire says while that is not open', () => {
    expect(judge(20, { wire: 'lost', wireText: 'unplugged', goodS: 19.9, bytesS: 19.9 })).toEqual([
      'lost',
      'unplugged',
    ])
  })

  test('is connected as long as readable lines come, and silent two seconds after the last', () => {
    expect(judge(21.9, { goodS: 20, bytesS: 20 })).toEqual(['connected', 'firmware 0.3'])
    expect(judge(22.1, { goodS: 20, bytesS: 20 })[0]).toBe('silent')
  })

  test('is not connected by a line from before it was opened anew', () => {
    expect(judge(11, { openedS: 10.5, goodS: 10, bytesS: 10 })[0]).toBe('connecting')
  })

  test('has two seconds from its opening before anything is said of it', () => {
    expect(judge(11.9, {})).toEqual(['connecting', 'opened'])
    expect(judge(12.1, {})[1]).toMatch(/nothing comes: check the board/)
  })

  test('of which only bytes come says so, and names the speed that is tried as soon as one is', () => {
    expect(judge(13, { bytesS: 12.9 })).toEqual(['silent', words.unreadable])
    expect(judge(11, { bytesS: 10.9 }, 'trying 57600 baud')).toEqual(['silent', 'trying 57600 baud'])
  })
})
