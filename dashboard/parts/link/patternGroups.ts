import { checkLinePattern } from '../../../core/line/linePattern.ts'

/** Most groups of a pattern that are offered as columns: as many as a map takes channels. */
const mostGroups = 64

/** Names of a pattern's groups in their order, `group 2` for one without a name; empty for a pattern that is refused. */
export function patternGroups(pattern: string): string[] {
  if (pattern === '' || checkLinePattern(pattern) !== undefined) return []
  // With an empty alternative anything matches, and the result lists all groups there are.
  const count = new RegExp(`${pattern}|`).exec('')!.length - 1
  const names: string[] = []
  // An opening bracket that is neither escaped, nor in a set, nor of a group that is not kept, begins a group.
  let isInSet = false
  for (let at = 0; at < pattern.length && names.length < count; at++) {
    if (pattern[at] === '\\') at++
    else if (pattern[at] === '[') isInSet = true
    else if (pattern[at] === ']') isInSet = false
    else if (pattern[at] === '(' && !isInSet && !pattern.startsWith('(?:', at)) {
      const named = /^\(\?<([A-Za-z_$][\w$]*)>/.exec(pattern.slice(at))?.[1]
      names.push(named ?? `group ${names.length + 1}`)
    }
  }
  return names.slice(0, mostGroups)
}
