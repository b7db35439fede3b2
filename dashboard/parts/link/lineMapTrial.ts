import type { SampleBlock } from '../../../core/contract/samples.ts'
import type { LineMap } from '../../../core/line/lineMap.ts'
import type { LineMapCounts } from '../../../core/line/lineMapCounts.ts'
import { createLineMapReader } from '../../../core/line/lineMapReader.ts'

/** What a map makes of the lines at hand. */
export interface Trial {
  counts: LineMapCounts
  /** Newest value by channel, in its unit. */
  values: Readonly<Record<string, number>>
}

/** Lines at hand carry no times: they are taken to lie so far apart, s. */
const apartS = 0.1

/**
 * Reads the lines at hand with a map.
 * @param header told first where it has scrolled away, without what follows it; empty where there is none
 */
export function tryLineMap(map: LineMap, lines: readonly string[], header: string): Trial {
  const values: Record<string, number> = {}
  // Lines at hand are no file's beginning.
  const reader = createLineMapReader(
    { ...map, skip_lines: 0 },
    {
      emit: {
        block({ channels, columns, count }: SampleBlock) {
          channels.forEach(({ name }, i) => {
            values[name] = columns[i][count - 1]
          })
        },
      },
    },
  )
  if (header && !lines.includes(header)) {
    reader.text(header, 0)
    for (let i = 0; i < map.skip_after_header; i++) reader.text('', 0)
  }
  for (const [i, line] of lines.entries()) reader.text(line, i * apartS)
  reader.flush()
  return { counts: reader.counts, values }
}
