import { stat } from 'node:fs/promises'
import { createCaptureScanner } from '../core/capture/captureScanner.ts'
import { decodeSource } from '../core/capture/sourceDecoder.ts'
import type { SampleBlock } from '../core/contract/samples.ts'
import { openRun } from './analysis/openRun.ts'

/** A pause between samples longer than this is a gap, s: the page's own limit for a number that goes stale. */
const gapS = 1
/** Share of bad lines up to which a run counts as good: a torn first line and a few bit errors an hour. Chosen here. */
const fineShare = 0.001

export interface CheckReport {
  format: 'floatbowl-check 1'
  file: string
  seconds: number
  lines: number
  samples: number
  bad_checksum: number
  unreadable: number
  missing_samples: number
  undeclared: number
  restarts: number
  gaps: { start_s: number; end_s: number }[]
  corrupt_lines: number
  invalid_records: number
  first_problem?: { lineNumber: number; text: string }
  torn_end: boolean
  verdict: 'fine' | 'usable' | 'empty'
}

/**
 * Reads a run from end to end and counts what is not in order.
 * @throws when the file cannot be read or is no capture
 */
export async function checkRun(
  path: string,
  onShare: (share: number) => void = () => {},
): Promise<CheckReport> {
  const { size } = await stat(path)
  const gaps: { start_s: number; end_s: number }[] = []
  let lastS = Number.NaN
  const scanner = createCaptureScanner({
    decoderOf: decodeSource,
    emit: {
      block({ source, timeS, count }: SampleBlock) {
        if (source !== 0) return
        for (let i = 0; i < count; i++) {
          if (timeS[i] - lastS > gapS) gaps.push({ start_s: lastS, end_s: timeS[i] })
          lastS = timeS[i]
        }
      },
    },
  })
  const { file, bytes } = await openRun(path, 1 << 20)
  for await (const chunk of bytes) {
    scanner.push(chunk as Buffer)
    onShare(size > 0 ? file.bytesRead / size : 1)
  }
  const { counts, capture, tornEnd, endS } = scanner.end()
  const bad = counts.badChecksum + counts.unreadable + counts.missingSamples + capture.corruptLines
  const fine =
    bad <= fineShare * Math.max(1, counts.lines) &&
    gaps.length === 0 &&
    capture.invalidRecords === 0 &&
    !tornEnd
  return {
    format: 'floatbowl-check 1',
    file: path,
    seconds: Number.isNaN(endS) ? 0 : endS,
    lines: counts.lines,
    samples: counts.samples,
    bad_checksum: counts.badChecksum,
    unreadable: counts.unreadable,
    missing_samples: counts.missingSamples,
    undeclared: counts.undeclared,
    restarts: counts.restarts,
    gaps,
    corrupt_lines: capture.corruptLines,
    invalid_records: capture.invalidRecords,
    ...(capture.firstProblem && { first_problem: capture.firstProblem }),
    torn_end: tornEnd,
    verdict: counts.samples === 0 ? 'empty' : fine ? 'fine' : 'usable',
  }
}
