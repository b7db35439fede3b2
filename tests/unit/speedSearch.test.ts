import { describe, expect, it } from 'vitest'
import { SpeedSearch, usualSpeeds } from '../../bridge/source/speedSearch.ts'

/** Bytes as a wrong speed makes them; seeded. */
function garbage(length: number, seed = 1): Uint8Array {
  let state = seed
  return Uint8Array.from({ length }, () => {
    state = (Math.imul(state, 1103515245) + 12345) >>> 0
    return state >>> 24
  })
}

interface Board {
  /** Speed at which its lines can be read. */
  speed: number
  sends?: Uint8Array
  /** Speaks only while this holds. */
  isOn?: (timeS: number) => boolean
}

/** Lets a board speak ten times a second and looks four times a second; returns the speeds that were gone to, with their moments. */
function run(search: SpeedSearch, board: Board, fromS: number, untilS: number, goodBefore = 0) {
  const went: [number, number][] = []
  let good = goodBefore
  for (let tick = Math.round(fromS * 20); tick < untilS * 20; tick++) {
    const timeS = tick / 20
    if (tick % 2 === 0 && (board.isOn?.(timeS) ?? true)) {
      search.take(board.sends ?? garbage(60, tick + 1), timeS)
      if (search.speed === board.speed) good++
    }
    if (tick % 5 === 0) {
      const speed = search.look(timeS, good)
      if (speed !== undefined) went.push([timeS, speed])
    }
  }
  return { went, good }
}

describe('SpeedSearch', () => {
  it.each(usualSpeeds)('finds a board at %i baud within 20 s and stays there', (speed) => {
    const search = new SpeedSearch(115_200)
    const { went } = run(search, { speed }, 0, 120)
    expect(search.speed).toBe(speed)
    expect(search.isGood).toBe(true)
    expect(search.text).toBe('')
    expect(went.map(([, to]) => to)).toEqual(usualSpeeds.slice(1, usualSpeeds.indexOf(speed) + 1))
    if (went.length > 0) expect(went[went.length - 1][0]).toBeLessThan(20)
  })

  it('leaves a board alone that is readable now and then, whatever else comes', () => {
    const search = new SpeedSearch(115_200)
    let good = 0
    for (let tick = 0; tick < 20 * 600; tick++) {
      search.take(garbage(60, tick + 1), tick / 20)
      if (tick % 300 === 0) good++
      if (tick % 5 === 0) expect(search.look(tick / 20, good)).toBeUndefined()
    }
    expect(search.speed).toBe(115_200)
  })

  it('looks again only after 20 s of garbage from a board that was readable before', () => {
    const search = new SpeedSearch(57_600)
    run(search, { speed: 57_600 }, 0, 10)
    const { went } = run(search, { speed: 9600 }, 10, 60, 100)
    expect(went[0][0]).toBeGreaterThan(29)
    expect(search.speed).toBe(9600)
  })

  it('waits for a silent port, however long', () => {
    const search = new SpeedSearch(115_200)
    const { went } = run(search, { speed: 9600, isOn: () => false }, 0, 300)
    expect(went).toEqual([])
    expect(search.text).toBe('')
  })

  it('does not count bytes with long pauses between them as coming', () => {
    const search = new SpeedSearch(115_200)
    const { went } = run(search, { speed: 9600, isOn: (timeS) => timeS % 4 < 0.5 }, 0, 120)
    expect(went).toEqual([])
  })

  it('stays with text of another format, and says so', () => {
    const search = new SpeedSearch(115_200)
    const sends = new TextEncoder().encode('rpm 850 lambda 0.97 throttle 12\r\n')
    const { went } = run(search, { speed: 1, sends }, 0, 60)
    expect(went).toEqual([])
    expect(search.text).toMatch(/another format at 115200 baud/)
  })

  it('gives up after two rounds where it began, says what it tried, and starts anew with the wire', () => {
    const search = new SpeedSearch(115_200)
    const { went } = run(search, { speed: 12_345 }, 0, 300)
    expect(went).toHaveLength(2 * usualSpeeds.length)
    expect(search.speed).toBe(115_200)
    expect(search.text).toMatch(/no usual speed/)
    for (const speed of usualSpeeds) expect(search.text).toContain(String(speed))
    search.restart()
    expect(search.text).toBe('')
    expect(run(search, { speed: 38_400 }, 300, 330).went.length).toBeGreaterThan(0)
    expect(search.speed).toBe(38_400)
  })

  it('tells what it tries, in words', () => {
    const search = new SpeedSearch(115_200)
    run(search, { speed: 12_345 }, 0, 4)
    expect(search.text).toBe('no readable line yet: trying 921600 baud (2 of 8)')
  })
})
