import { readdirSync, readFileSync } from 'node:fs'
import { describe, expect, it } from 'vitest'

const folder = new URL('../../bridge/install/', import.meta.url)
const rule = readdirSync(folder).find((name) => name.endsWith('.rules')) ?? ''

describe('the rule for serial boards', () => {
  it("stands after the system's 60-serial.rules, which reads a device's numbers, and before the modem service's 77- and 80- rules", () => {
    expect(rule > '60-serial.rules').toBe(true)
    expect(rule < '77-').toBe(true)
  })

  it('is named by that name wherever the owner is told to copy it', () => {
    for (const name of readdirSync(folder)) {
      const named = readFileSync(new URL(name, folder), 'utf8').match(/[0-9]{2}-floatbowl\.rules/g) ?? []
      expect([...new Set(named)], name).toEqual([rule])
    }
  })
})
