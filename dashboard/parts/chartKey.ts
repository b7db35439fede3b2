import type { ChartBand, ChartSeries } from './chartSeries.ts'

/** One entry of a chart's key: a line as it looks, or a band's ground, and what it stands for. */
export interface KeyEntry {
  label: string
  /** Undefined for a band. */
  line: ChartSeries | undefined
}

/** More entries than this are no key any more. */
const mostEntries = 8

/** What the lines and bands of a chart mean; lines that look alike are one entry. Empty where there is nothing to tell apart. */
export function keyEntries(series: readonly ChartSeries[], bands: readonly ChartBand[]): KeyEntry[] {
  const byLook = new Map<string, { labels: string[]; line: ChartSeries }>()
  for (const line of series) {
    const label = line.key ?? line.label
    if (label === '') continue
    const look = JSON.stringify([line.role ?? 'ink', line.dash ?? [], line.points ?? false])
    const entry = byLook.get(look)
    if (!entry) byLook.set(look, { labels: [label], line })
    else if (!entry.labels.includes(label)) entry.labels.push(label)
  }
  const lines = [...byLook.values()].map(({ labels, line }) => ({ label: labels.join(', '), line }))
  const grounds = [...new Set(bands.map(({ label }) => label ?? ''))]
    .filter(Boolean)
    .map((label) => ({ label, line: undefined }))
  const entries = [...lines, ...grounds]
  return entries.length > 1 && entries.length <= mostEntries ? entries : []
}
