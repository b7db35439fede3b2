import type { ChannelDeclaration, SampleBlock } from '../../core/contract/samples.ts'

export interface BlockBatcherOptions {
  /** No block is sent sooner after the last one, ms. Default 24. */
  leastMs?: number
  /** A block is sent with the last sample that should come within this after the last block, ms. Default 33: some 30 a second. */
  usualMs?: number
  /** Without such a sample it is sent after this, ms. Default 36: a sample may be late. */
  longestMs?: number
}

export const defaultBlockBatcher = Object.freeze({ leastMs: 24, usualMs: 33, longestMs: 36 })
/** Weight of the newest gap between arrivals in the usual one. */
const gapWeight = 0.1
/** The next sample may come so much later than usual, as a share of the usual gap: what a wire and its driver do; chosen here. */
const lateShare = 0.5

/** Samples that a block holds at most; a flood is cut, not grown. */
const mostSamples = 4096

/**
 * Gathers the decoder's small blocks of one source into about 30 blocks a second. They go out with a sample, not by a timer, so that the newest sample
 * never waits; which one is the last of a block is judged by the usual gap between arrivals, so that a little jitter does not hold it for another.
 */
export function createBlockBatcher(
  emit: (block: SampleBlock) => void,
  options: BlockBatcherOptions & { nowMs?: () => number } = {},
): { push(block: SampleBlock): void; flush(): void; stop(): void } {
  const { leastMs, usualMs, longestMs } = { ...defaultBlockBatcher, ...options }
  const nowMs = options.nowMs ?? (() => performance.now())
  let channels: readonly ChannelDeclaration[] = []
  let segment = -1
  let source = 0
  let count = 0
  let timeS = new Float64Array(64)
  let columns: Float32Array[] = []
  let lastMs = Number.NEGATIVE_INFINITY
  let arrivedMs = Number.NaN
  let usualGapMs = Number.NaN
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
      const atMs = nowMs()
      const gapMs = Math.min(longestMs, atMs - arrivedMs)
      usualGapMs = usualGapMs > 0 ? usualGapMs + gapWeight * (gapMs - usualGapMs) : gapMs
      arrivedMs = atMs
      const sinceMs = atMs - lastMs
      if (
        (sinceMs >= leastMs && !(sinceMs + (1 + lateShare) * usualGapMs <= usualMs)) ||
        count >= mostSamples
      )
        flush()
      else timer ??= setTimeout(flush, Math.max(0, longestMs - sinceMs))
    },
  }
}
