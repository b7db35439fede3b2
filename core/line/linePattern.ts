/** How many repetitions may run into each other: the time of a match grows with the length's power of one more. */
const maxOverlaps = 2

/** Bytes a character set is tried on. */
const alphabet = Array.from({ length: 256 }, (_, code) => String.fromCharCode(code))

interface Atom {
  readonly kind: 'atom'
  /** Which of the 256 characters it takes. */
  readonly takes: Uint8Array
  /** Anything but exactly one: it may take fewer or more. */
  readonly isVariable: boolean
  readonly isOptional: boolean
}

interface Group {
  readonly kind: 'group'
  readonly alternatives: readonly Node[][]
  readonly isOptional: boolean
}

type Node = Atom | Group

/**
 * Tells whether a user's regular expression is safe to run on lines of at most 250 bytes: its time must not explode. Refused are repetition inside a
 * repeated group, a repeated choice, look-around, references to groups, and more than two repetitions that can take each other's characters.
 * @returns what is wrong, or undefined
 */
export function checkLinePattern(pattern: string): string | undefined {
  try {
    new RegExp(pattern)
  } catch (error) {
    return (error as Error).message
  }
  try {
    const alternatives = createParser(pattern).parseAll()
    const overlaps = countOverlaps(alternatives, [])
    return overlaps > maxOverlaps
      ? `${overlaps} repetitions can take each other's characters (at most ${maxOverlaps}); put a fixed character between them`
      : undefined
  } catch (error) {
    if (error instanceof RangeError) return error.message
    throw error
  }
}

function createParser(pattern: string): { parseAll(): Node[][] } {
  let at = 0

  const parseChoice = (): Node[][] => {
    const alternatives: Node[][] = [[]]
    while (at < pattern.length && pattern[at] !== ')') {
      if (pattern[at] === '|') {
        alternatives.push([])
        at++
      } else {
        const node = parseNode()
        if (node !== undefined) alternatives[alternatives.length - 1].push(node)
      }
    }
    return alternatives
  }

  const parseNode = (): Node | undefined => {
    const first = pattern[at]
    if (first === '^' || first === '$') {
      at++
      return undefined
    }
    if (first === '(') return parseGroup()
    const source = readAtom()
    if (source === undefined) return undefined
    const { least, most } = readQuantifier()
    const test = new RegExp(`^(?:${source})$`)
    const takes = Uint8Array.from(alphabet, (character) => (test.test(character) ? 1 : 0))
    return { kind: 'atom', takes, isVariable: least !== most, isOptional: least === 0 }
  }

  /** Source of one character or set; undefined for a place between characters (`\b`). */
  const readAtom = (): string | undefined => {
    const start = at
    if (pattern[at] === '[') {
      at++
      while (at < pattern.length && pattern[at] !== ']') at += pattern[at] === '\\' ? 2 : 1
      at++
    } else if (pattern[at] === '\\') {
      const letter = pattern[at + 1]
      if (/[1-9k]/.test(letter)) throw new RangeError(`references to groups (\\${letter}) are not accepted`)
      at += letter === 'x' ? 4 : letter === 'u' ? 6 : letter === 'c' ? 3 : 2
      if (letter === 'b' || letter === 'B') return undefined
    } else at++
    return pattern.slice(start, at)
  }

  const readQuantifier = (): { least: number; most: number } => {
    const text = /^(?:[*+?]|\{\d+(?:,\d*)?\})\??/.exec(pattern.slice(at))?.[0]
    if (text === undefined) return { least: 1, most: 1 }
    at += text.length
    if (text[0] === '*') return { least: 0, most: Infinity }
    if (text[0] === '+') return { least: 1, most: Infinity }
    if (text[0] === '?') return { least: 0, most: 1 }
    const [least, most] = text.slice(1, text.indexOf('}')).split(',')
    return {
      least: Number(least),
      most: most === undefined ? Number(least) : most === '' ? Infinity : Number(most),
    }
  }

  const parseGroup = (): Node => {
    const start = at
    const opening = /^\((?:\?(?:<[A-Za-z_$][\w$]*>|:))?/.exec(pattern.slice(at))![0]
    at += opening.length
    if (opening === '(' && pattern[at] === '?') throw new RangeError('look-around is not accepted')
    const alternatives = parseChoice()
    at++
    const { least, most } = readQuantifier()
    const isRepeated = most > 1
    if (isRepeated && (alternatives.length > 1 || alternatives[0].some(isLoose)))
      throw new RangeError(
        `a repetition or choice inside a repeated group is not accepted: ${pattern.slice(start, at)}`,
      )
    if (!isRepeated) return { kind: 'group', alternatives, isOptional: least === 0 }
    // A repeated group of single characters acts as one repeated set.
    const takes = new Uint8Array(256)
    for (const node of alternatives[0])
      if (node.kind === 'atom') for (let code = 0; code < 256; code++) takes[code] |= node.takes[code]
    return { kind: 'atom', takes, isVariable: true, isOptional: least === 0 }
  }

  return {
    parseAll() {
      const alternatives = parseChoice()
      if (at < pattern.length) throw new RangeError(`unexpected "${pattern[at]}"`)
      return alternatives
    },
  }
}

function isLoose(node: Node): boolean {
  return node.kind === 'group' || node.isVariable
}

/** A way on from some place: the nodes that follow, and what follows those. */
type Rest = readonly (readonly Node[])[]

/** Counts the variable atoms that can hand characters to a later variable atom without a fixed character in between that they cannot take. */
function countOverlaps(alternatives: readonly (readonly Node[])[], after: Rest): number {
  let count = 0
  for (const sequence of alternatives) {
    sequence.forEach((node, i) => {
      const rest: Rest = [sequence.slice(i + 1), ...after]
      if (node.kind === 'group') count += countUnclear(node, rest) + countOverlaps(node.alternatives, rest)
      else if (node.isVariable && reaches(node.takes, rest).overlaps) count++
    })
  }
  return count
}

/** Counts ways through a group that its next character cannot tell apart: left out or not, one alternative or another. */
function countUnclear(group: Group, rest: Rest): number {
  const firsts = group.alternatives.map((alternative) => firstOf([alternative, ...rest]))
  if (group.isOptional) firsts.push(firstOf(rest))
  let count = 0
  for (let i = 0; i < firsts.length; i++)
    for (let j = 0; j < i; j++)
      if (firsts[i].some((taken, code) => taken === 1 && firsts[j][code] === 1)) count++
  return count
}

/** Characters that can come next. */
function firstOf(rest: Rest): Uint8Array {
  const takes = new Uint8Array(256)
  const add = (nodes: readonly Node[]): boolean => {
    for (const node of nodes) {
      let passes = node.isOptional
      if (node.kind === 'group')
        for (const alternative of node.alternatives) passes = add(alternative) || passes
      else for (let code = 0; code < 256; code++) takes[code] |= node.takes[code]
      if (!passes) return false
    }
    return true
  }
  for (const nodes of rest) if (!add(nodes)) break
  return takes
}

function reaches(takes: Uint8Array, rest: Rest): { overlaps: boolean; passes: boolean } {
  for (const sequence of rest) {
    for (const node of sequence) {
      const met = node.kind === 'group' ? reachesGroup(takes, node) : reachesAtom(takes, node)
      if (met.overlaps || !met.passes) return met
    }
  }
  return { overlaps: false, passes: true }
}

function reachesAtom(takes: Uint8Array, atom: Atom): { overlaps: boolean; passes: boolean } {
  const isShared = takes.some((taken, code) => taken === 1 && atom.takes[code] === 1)
  return { overlaps: isShared && atom.isVariable, passes: atom.isOptional || isShared }
}

function reachesGroup(takes: Uint8Array, group: Group): { overlaps: boolean; passes: boolean } {
  let passes = group.isOptional
  for (const alternative of group.alternatives) {
    const met = reaches(takes, [alternative])
    if (met.overlaps) return met
    passes ||= met.passes
  }
  return { overlaps: false, passes }
}
