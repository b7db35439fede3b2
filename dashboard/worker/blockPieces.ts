import type { SampleBlock } from '../../core/contract/samples.ts'

/**
 * A block in pieces that last no longer than so many s, at least a sample each. After a stall the bridge sends one large block, of which the pipeline is
 * to be read as often as of small ones.
 */
export function* blockPieces(block: SampleBlock, longestS: number): Generator<SampleBlock> {
  const { count, timeS, columns } = block
  let start = 0
  while (start < count) {
    let end = start + 1
    while (end < count && timeS[end] - timeS[start] <= longestS) end++
    if (start === 0 && end === count) yield block
    else
      yield {
        ...block,
        count: end - start,
        timeS: timeS.subarray(start, end),
        columns: columns.map((column) => column.subarray(start, end)),
      }
    start = end
  }
}
