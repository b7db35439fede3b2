import type { GpsFix } from '../../core/line/gpsDecoder.ts'
import { BridgeError } from '../bridgeError.ts'
import type { ExportTable } from './exportTable.ts'
import { isoMicros, utcMicros } from './numberText.ts'

/** A silence longer than this begins a new segment, s. Chosen here. */
const segmentGapS = 10
/** A mark farther than this from any position gets none, s. */
const markReachS = 5

/**
 * The track as GPX 1.1 (Topografix schema), marks as way points; in pieces.
 * @throws BridgeError `no_position` for a run without a position source
 */
export function* gpxChunks(table: ExportTable): Generator<string> {
  const { positions, run, startMs, analysis } = table
  if (positions.length === 0)
    throw new BridgeError('no_position', 'the run has no positions: record with a position receiver (--gps)')
  yield '<?xml version="1.0" encoding="UTF-8"?>\n'
  yield '<gpx version="1.1" creator="floatbowl" xmlns="http://www.topografix.com/GPX/1/1">\n'
  for (const { t_s, label } of (analysis.result.run['marks'] ?? []) as { t_s: number; label: string }[]) {
    const place = nearest(positions, t_s)
    if (place) yield `${wayPoint(place, 'wpt', startMs, label || 'mark')}\n`
  }
  yield `<trk><name>${escaped(analysis.result.run.title ?? run)}</name>\n<trkseg>\n`
  let lastS = Number.NaN
  let text = ''
  for (let i = 0; i < positions.length; i++) {
    const fix = positions[i]
    if (fix.timeS - lastS > segmentGapS) text += '</trkseg>\n<trkseg>\n'
    lastS = fix.timeS
    text += `${wayPoint(fix, 'trkpt', startMs)}\n`
    if (i % 500 === 499) {
      yield text
      text = ''
    }
  }
  yield `${text}</trkseg>\n</trk>\n</gpx>\n`
}

function wayPoint(fix: GpsFix, tag: 'wpt' | 'trkpt', startMs: number, name?: string): string {
  const { latitudeDeg, longitudeDeg, altitudeM, timeS, utcMs } = fix
  const height = Number.isNaN(altitudeM) ? '' : `<ele>${altitudeM.toFixed(1)}</ele>`
  const micros = Number.isNaN(utcMs) ? utcMicros(startMs, timeS) : Math.round(utcMs) * 1000
  const time = Number.isNaN(micros) ? '' : `<time>${isoMicros(micros)}</time>`
  const label = name === undefined ? '' : `<name>${escaped(name)}</name>`
  return `<${tag} lat="${latitudeDeg.toFixed(7)}" lon="${longitudeDeg.toFixed(7)}">${height}${time}${label}</${tag}>`
}

function nearest(positions: readonly GpsFix[], timeS: number): GpsFix | undefined {
  let best: GpsFix | undefined
  for (const fix of positions) {
    if (best === undefined || Math.abs(fix.timeS - timeS) < Math.abs(best.timeS - timeS)) best = fix
  }
  return best && Math.abs(best.timeS - timeS) <= markReachS ? best : undefined
}

const entities: Readonly<Record<string, string>> = { '&': '&amp;', '<': '&lt;', '>': '&gt;', '"': '&quot;' }

/** XML text; control characters, which XML does not allow, go. */
function escaped(text: string): string {
  let plain = ''
  for (const character of text) if (character >= ' ' || character === '\t') plain += character
  return plain.replace(/[&<>"]/g, (character) => entities[character])
}
