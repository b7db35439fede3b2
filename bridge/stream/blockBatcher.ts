import type { ChannelDeclaration, SampleBlock } from '../../core/contract/samples.ts'

export interface BlockBatcherOptions {
  /** A block is sent with the first sample that comes this long after the last block, ms. Default 28: some 30 a second at any rate. */
  everyMs?: number
  /** Samples are never held longer than this, ms. Default 33. */
  longestMs?: number
}

export const defaultBlockBatcher = Object.freeze({ everyMs: 28, longestMs: 33 })

/** Samples that a block holds at most; a flood is cut, not grown. */
const mostSamples = 4096

/**
 * Gathers the decoder's small blocks of one source into about 30 blocks a second. Sending with a sample, not by a timer, means the
 * newest sample never waits.
 */
export function createBlockBatcher(
  emit: (block: SampleBlock) => void,
  options: BlockBatcherOptions & { nowMs?: () => number } = {},
): { push(block: SampleBlock): void; flush(): void; stop(): void } {
  const { everyMs, longestMs } = { ...defaultBlockBatcher, ...options }
  const nowMs = options.nowMs ?? (() => performance.now())
  let channels: readonly ChannelDeclaration[] = []
  let segment = -1
  let source = 0
  let count = 0
  let timeS = new Float64Array(64)
  let columns: Float32Array[] = []
  let lastMs = Number.NEGATIVE_INFINITY
  let timer: NodeJS.Timeout | undefined

  const flush = () => {
    clearTimeout(timer)
    timer = undefined
    if (count === 0) return
    lastMs = nowMs()
    const block = { source, segment, channels, count, timeS, columns }
    count = 0
    emit(block)
  }

  const grow = (needed: number) => {
    if (timeS.length >= needed) return
    const size = Math.max(needed, timeS.length * 2)
    const longer = new Float64Array(size)
    longer.set(timeS.subarray(0, count))
    timeS = longer
    columns = columns.map((column) => {
      const next = new Float32Array(size)
      next.set(column.subarray(0, count))
      return next
    })
  }

  return {
    flush,
    stop() {
      clearTimeout(timer)
    },
    push(block) {
      if (block.count === 0) return
      if (block.segment !== segment || block.columns.length !== columns.length) {
        flush()
        segment = block.segment
        source = block.source
        columns = block.columns.map(() => new Float32Array(timeS.length))
      }
      channels = block.channels
      grow(count + block.count)
      // A block of the wire holds a sample or two: a view for each column would cost more than its values.
      for (let i = 0; i < block.count; i++) timeS[count + i] = block.timeS[i]
      for (let c = 0; c < columns.length; c++) {
        const from = block.columns[c]
        const to = columns[c]
        for (let i = 0; i < block.count; i++) to[count + i] = from[i]
      }
      count += block.count
      if (nowMs() - lastMs >= everyMs || count >= mostSamples) flush()
      else timer ??= setTimeout(flush, Math.max(0, longestMs - (nowMs() - lastMs)))
    },
  }
}
