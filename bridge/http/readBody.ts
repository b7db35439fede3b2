import { HttpProblem } from './problem.ts'

/** Deepest nesting of a body: our deepest is six. */
const deepest = 24

/**
 * Reads a JSON body. Nesting is measured before anything is built, so that a body of brackets costs no stack.
 * @throws HttpProblem 400 for text that is no JSON, or is nested too deep
 */
export function parseJsonBody(text: string): unknown {
  let depth = 0
  let inString = false
  for (let i = 0; i < text.length; i++) {
    const code = text.charCodeAt(i)
    if (inString) {
      if (code === 0x5c) i++
      else if (code === 0x22) inString = false
    } else if (code === 0x22) inString = true
    else if (code === 0x5b || code === 0x7b) {
      if (++depth > deepest)
        throw new HttpProblem(400, 'too_deep', `the body is nested deeper than ${deepest}`)
    } else if (code === 0x5d || code === 0x7d) depth--
  }
  try {
    return JSON.parse(text, withoutPrototype)
  } catch {
    throw new HttpProblem(400, 'no_json', 'the body is no JSON')
  }
}

/** Names that could reach an object's prototype are left out. */
function withoutPrototype(this: unknown, key: string, value: unknown): unknown {
  return key === '__proto__' || key === 'constructor' || key === 'prototype' ? undefined : value
}
