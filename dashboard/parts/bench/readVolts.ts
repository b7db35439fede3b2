import type { Link } from '../../state/link.svelte.ts'

/** Columns asked for each second: finer than any board's samples, so that none is left out. */
const columnsPerS = 400

/** Readings of a plain input over the last seconds, V; empty when it is not declared or nothing came. */
export async function readVolts(
  link: Pick<Link, 'trace' | 'traceS'>,
  input: string,
  seconds: number,
): Promise<number[]> {
  const toS = link.traceS
  if (Number.isNaN(toS)) return []
  const { channels, values } = await link.trace({
    fromS: toS - seconds,
    toS,
    columnCount: Math.round(seconds * columnsPerS),
    channels: [input],
  })
  const at = channels.indexOf(input)
  return at < 0 ? [] : [...values[at]].filter(Number.isFinite)
}
