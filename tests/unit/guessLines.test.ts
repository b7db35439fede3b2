import { describe, expect, test } from 'vitest'
import { guessLineShape } from '../../dashboard/parts/link/guessLines.ts'

describe('guessLineShape', () => {
  test.each([
    ['commas', ['12,0.98,2100', '13,0.97,2110', '14,0.99,2120'], ',', '.', 3],
    ['semicolons with decimal commas', ['12;0,98;2100', '13;0,97;2110', '14;0,99;2120'], ';', ',', 3],
    ['tabs', ['1\t2\t3\t4', '5\t6\t7\t8'], '\t', '.', 4],
    ['white space of any width', ['1.0   2.5  3', '1.1 2.4   3'], ' ', '.', 3],
  ])('finds %s', (_name, lines, divider, decimal, fields) => {
    expect(guessLineShape(lines)).toMatchObject({ by: 'divider', divider, decimal, fields })
  })

  test('takes the line of names and passes over comments and a torn line', () => {
    const shape = guessLineShape([
      '# made by a board',
      'ime,rpm',
      'time,rpm,lambda',
      '0.1,2000,0.98',
      '0.2,2010,0.97',
    ])
    expect(shape).toMatchObject({ comments: ['#'], names: ['time', 'rpm', 'lambda'], fields: 3 })
  })

  test('lists the keys of JSON lines that hold numbers, nested ones with a point', () => {
    const shape = guessLineShape([
      '{"rpm":2000,"name":"x","engine":{"clt":80}}',
      '{"rpm":2010,"engine":{"clt":81}}',
    ])
    expect(shape).toMatchObject({ by: 'json', names: ['rpm', 'engine.clt'] })
  })

  test('nothing to go by gives one field', () => {
    expect(guessLineShape([]).fields).toBe(1)
    expect(guessLineShape(['hello']).fields).toBe(1)
  })
})
