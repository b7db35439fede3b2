import type { CaptureSink } from '../../core/capture/captureSink.ts'
import type { CarProfile, Targets } from '../../core/contract/car.ts'
import type { CaptureRecord } from '../../core/contract/records.ts'
import type { RunAnalysis } from '../../core/contract/result.ts'
import type { BoardEvent, ChannelDeclaration, LineCounts, SampleBlock } from '../../core/contract/samples.ts'

/** A block of samples with arrays of its own, in one piece of memory that can change hands. */
interface PackedBlock {
  readonly kind: 'block'
  readonly source: number
  readonly segment: number
  /** Undefined where they are those of the source's block before: they would else be copied with each message. */
  readonly channels: readonly ChannelDeclaration[] | undefined
  readonly columnCount: number
  readonly count: number
  /** Times as doubles, then column after column in single precision. */
  readonly buffer: ArrayBuffer
}

/** One thing that a run holds, for the pipeline in another thread. */
export type FeedItem =
  | PackedBlock
  | { readonly kind: 'event'; readonly event: BoardEvent }
  | { readonly kind: 'record'; readonly timeS: number; readonly record: CaptureRecord }

/** How the other thread is to begin. */
export interface FeedStart {
  readonly car?: CarProfile
  readonly targets?: Targets
}

export interface FeedEnd {
  readonly counts: LineCounts
  readonly tornEnd: boolean
  readonly file: string
}

export type ToAnalysis =
  /** Comes first. */
  | { readonly what: 'start'; readonly start: FeedStart }
  | { readonly what: 'items'; readonly items: readonly FeedItem[] }
  /** `asText`: the result alone, as the JSON that is printed. */
  | { readonly what: 'end'; readonly end: FeedEnd; readonly asText: boolean }

export type FromAnalysis =
  /** The items of so many messages more are through. */
  | { readonly what: 'done'; readonly messages: number }
  | { readonly what: 'result'; readonly result: FedResult }

export interface FedResult {
  /** The whole analysis, or its result as JSON. */
  readonly analysis: RunAnalysis | string
  /** What could not be used or was left out, in words. */
  readonly problems: readonly string[]
}

const doubleBytes = 8
const singleBytes = 4

type Channels = readonly ChannelDeclaration[]

function packBlock(
  { source, segment, channels, count, timeS, columns }: SampleBlock,
  areKnown: boolean,
): PackedBlock {
  const columnCount = columns.length
  const buffer = new ArrayBuffer(count * (doubleBytes + columnCount * singleBytes))
  new Float64Array(buffer, 0, count).set(timeS.subarray(0, count))
  const values = new Float32Array(buffer, count * doubleBytes)
  for (let i = 0; i < columnCount; i++) values.set(columns[i].subarray(0, count), i * count)
  const said = areKnown ? undefined : channels
  return { kind: 'block', source, segment, channels: said, columnCount, count, buffer }
}

/** Makes blocks of packed ones, which come in the order in which they were packed. */
export function createBlockUnpacker(): (packed: PackedBlock) => SampleBlock {
  const bySource = new Map<number, Channels>()
  return ({ source, segment, channels: said, columnCount, count, buffer }) => {
    if (said) bySource.set(source, said)
    const channels = bySource.get(source)!
    const columns: Float32Array[] = []
    for (let i = 0; i < columnCount; i++)
      columns.push(new Float32Array(buffer, count * doubleBytes + i * count * singleBytes, count))
    return { source, segment, channels, count, timeS: new Float64Array(buffer, 0, count), columns }
  }
}

/** A sink that gathers what it is handed as items, in the order of the file. */
export function createFeedSink(items: FeedItem[]): CaptureSink {
  const bySource = new Map<number, Channels>()
  return {
    block(block) {
      const { source, channels } = block
      items.push(packBlock(block, bySource.get(source) === channels))
      bySource.set(source, channels)
    },
    event: (event) => items.push({ kind: 'event', event }),
    record: ({ timeS, record }) => items.push({ kind: 'record', timeS, record }),
  }
}

export const buffersOf = (items: readonly FeedItem[]): ArrayBuffer[] =>
  items.flatMap((item) => (item.kind === 'block' ? [item.buffer] : []))
