import { createPipeline } from '../../core/pipeline/createPipeline.ts'
import { createSampleBound } from '../../core/pipeline/sampleBound.ts'
import { createBlockUnpacker, type FedResult, type FeedEnd, type FeedItem, type FeedStart } from './feed.ts'

/** A pipeline that is fed with items, in this thread or from another. */
export interface FedPipeline {
  take(items: readonly FeedItem[]): void
  end(end: FeedEnd, asText: boolean): FedResult
}

export function createFedPipeline({ car, targets }: FeedStart): FedPipeline {
  const pipeline = createPipeline({
    ...(car ? { car, carWins: true } : {}),
    ...(targets ? { targets } : {}),
    expectsResult: true,
  })
  const bound = createSampleBound(pipeline.push)
  const unpack = createBlockUnpacker()
  return {
    take(items) {
      for (const item of items) {
        if (item.kind === 'block') bound.push(unpack(item))
        else if (item.kind === 'event') pipeline.event(item.event)
        else pipeline.record(item.timeS, item.record)
      }
    },
    end(end, asText) {
      const analysis = bound.tellRest(pipeline.analysis(end))
      const problems = (analysis.result.run['problems'] as string[] | undefined) ?? []
      return { analysis: asText ? JSON.stringify(analysis.result) : analysis, problems }
    },
  }
}
