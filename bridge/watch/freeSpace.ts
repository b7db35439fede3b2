import { statfs } from 'node:fs/promises'

/** Bytes that this user may still write beside a path; NaN where the system does not tell. */
export async function measureFreeBytes(path: string): Promise<number> {
  try {
    const { bavail, bsize } = await statfs(path)
    return bavail * bsize
  } catch {
    // A directory that is not there yet, or a system without the call: nothing is claimed then.
    return Number.NaN
  }
}
