import type { LineCounts } from '../../core/contract/samples.ts'
import { createBoardDecoder } from '../../core/line/boardDecoder.ts'
import { createGpsDecoder } from '../../core/line/gpsDecoder.ts'
import { gpsLineCounts } from '../../core/line/gpsLineDecoder.ts'
import type { LineMap } from '../../core/line/lineMap.ts'
import { createLineMapReader } from '../../core/line/lineMapReader.ts'
import type { Decoder, DecoderSink } from './decoder.ts'
import { createRawLines } from './rawLines.ts'

/** A board that speaks the board's own line format. */
export function createBoardLines(number: number, sink: DecoderSink): Decoder {
  return createBoardDecoder({ source: number, emit: sink })
}

/** A board that speaks another format, read after a line map. */
export function createMappedLines(map: LineMap): (number: number, sink: DecoderSink) => Decoder {
  return (number, sink) => createLineMapReader(map, { source: number, emit: sink })
}

/** A position receiver: its sentences become samples of road speed and place. */
export function createGpsLines(number: number, sink: DecoderSink): Decoder {
  const gps = createGpsDecoder({ source: number, block: (block) => sink.block(block) })
  let lastS = 0
  const lines = createRawLines((line, arrivalS) => {
    if (line.length === 0) return
    let text = ''
    for (const byte of line) text += String.fromCharCode(byte)
    gps.push(text.trimEnd(), arrivalS)
  })
  return {
    push(bytes, arrivalS) {
      lastS = arrivalS
      lines.push(bytes, arrivalS)
    },
    flush: () => lines.flush(lastS),
    get counts(): LineCounts {
      return gpsLineCounts(gps)
    },
  }
}
