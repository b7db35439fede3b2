import type { Part } from '../../core/contract/car.ts'

/** Parts with bores from label and millimetres. */
export function bored(labels: readonly (readonly [string, number])[]): Part[] {
  return labels.map(([label, bore_mm]) => ({ label, bore_mm }))
}

/** A row of jets whose labels are whole numbers: bore = label ÷ `perMm`, to hundredths of a millimetre. */
export function jetRow(from: number, to: number, step: number, perMm: number): Part[] {
  const out: Part[] = []
  for (let label = from; label <= to; label += step) {
    out.push({ label: String(label), bore_mm: Math.round((label / perMm) * 100) / 100 })
  }
  return out
}

/** Mixture screws by eighths of a turn. */
export function screwTurns(from: number, to: number): Part[] {
  const out: Part[] = []
  for (let turns = from; turns <= to + 1e-9; turns += 0.125) out.push({ label: String(turns), turns })
  return out
}

/** Valves (or rod springs) by the vacuum at which they begin to open. */
export function openings(...inHg: number[]): Part[] {
  return inHg.map((opens_inHg) => ({ label: String(opens_inHg), opens_inHg }))
}

/** Choke settings by notches richer (+) or leaner (−) than index. */
export function chokeNotches(): Part[] {
  return [-3, -2, -1, 0, 1, 2, 3].map((notch) => ({
    label: notch === 0 ? 'index' : `${Math.abs(notch)} ${notch > 0 ? 'rich' : 'lean'}`,
    notch,
  }))
}

/**
 * A part of a row by its label.
 * @throws RangeError if there is none
 */
export function labelled(parts: readonly Part[], label: string, count?: number): Part {
  const found = parts.find((item) => item.label === label)
  if (!found) throw new RangeError(`no part ${label} among ${parts.map((item) => item.label).join(', ')}`)
  return count === undefined ? found : { ...found, count }
}
