import { readFileSync, statSync } from 'node:fs'
import { userInfo } from 'node:os'
import type { PortFacts } from './portProblem.ts'

/** Name of a numbered group from the system's list, or undefined. */
function groupName(gid: number): string | undefined {
  try {
    for (const line of readFileSync('/etc/group', 'utf8').split('\n')) {
      const fields = line.split(':')
      if (Number(fields[2]) === gid) return fields[0]
    }
  } catch {
    // No such list on this system: the message then names the usual group.
  }
  return undefined
}

/** What the machine says of a device file; never fails. */
export function readPortFacts(path: string): PortFacts {
  const facts: PortFacts = { platform: process.platform }
  try {
    facts.userName = userInfo().username
    facts.group = groupName(statSync(path).gid)
  } catch {
    // The device may be gone again, or the user have no name: the message does without.
  }
  return facts
}
