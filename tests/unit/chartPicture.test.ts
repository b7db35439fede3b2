import { describe, expect, it } from 'vitest'
import { axisTicks, tickDecimals } from '../../dashboard/parts/picture/axisTicks.ts'
import {
  type ChartPicture,
  drawChartPicture,
  pictureHeight,
  pictureWidth,
} from '../../dashboard/parts/picture/chartPicture.ts'
import { chartSvg, fileName } from '../../dashboard/parts/picture/chartSvg.ts'
import type { PicturePen } from '../../dashboard/parts/picture/picturePen.ts'

const clock = (s: number) => `${Math.floor(s / 60)}:${String(s % 60).padStart(2, '0')}`
const base: ChartPicture = {
  title: 'Mixture & <load>',
  finding: 'Lean by 0.04 in cruise.',
  origin: 'Marigold · 17 May 2026',
  data: [
    [0, 10, 20, 30, 40, 50],
    [1, 1.1, null, 0.9, 0.95, 1],
  ],
  series: [{ label: 'λ', unit: 'λ', role: 'lean' }],
  xLabel: 'time',
  formatX: clock,
  yRanges: {},
  bands: [],
  markers: [],
}

/** A pen that keeps what it was told. */
function noting() {
  const lines: { points: number[]; dash: readonly number[] }[] = []
  const texts: string[] = []
  const rects: number[][] = []
  const dots: number[][] = []
  const areas: number[][] = []
  let isClipped = false
  const pen: PicturePen = {
    rect: (...all) => rects.push(all.slice(0, 4) as number[]),
    line: (points, _stroke, _width, dash = []) => {
      if (isClipped) lines.push({ points: [...points], dash })
    },
    area: (corners) => areas.push([...corners]),
    dot: (x, y) => dots.push([x, y]),
    text: (_x, _y, text) => texts.push(text),
    clip: () => {
      isClipped = true
    },
    unclip: () => {
      isClipped = false
    },
  }
  return { pen, lines, texts, rects, dots, areas }
}

const drawn = (part: Partial<ChartPicture> = {}) => {
  const noted = noting()
  drawChartPicture(noted.pen, { ...base, ...part })
  return noted
}

describe('drawChartPicture', () => {
  it('breaks the line at a gap and joins over a moment without a sample', () => {
    expect(drawn().lines.map(({ points }) => points.length / 2)).toEqual([2, 3])
    const { lines } = drawn({ data: [base.data[0], [1, undefined, 1.1, 1, 1, 1]] })
    expect(lines.map(({ points }) => points.length / 2)).toEqual([5])
  })

  it('lays the first and last moment at the edges of the axes and larger values higher', () => {
    const [{ points: first }, { points: last }] = drawn().lines
    expect(first[0]).toBe(84)
    expect(last[last.length - 2]).toBe(pictureWidth - 84)
    expect(first[3]).toBeLessThan(first[1])
  })

  it('fills the ground between two lines where both have a value, up along the one and back along the other', () => {
    const { areas } = drawn({
      data: [
        [0, 10, 20],
        [3, 3, 3],
        [1, null, 1],
      ],
      series: [{ label: 'upper' }, { label: 'lower' }],
      fills: [{ upper: 0, lower: 1 }],
    })
    const [[x0, y0, x1, y1, x2, y2, x3, y3, ...more]] = areas
    expect(more).toEqual([])
    expect([x0, x1, x2, x3]).toEqual([84, pictureWidth - 84, pictureWidth - 84, 84])
    expect([y0, y2]).toEqual([y1, y3])
    expect(y0).toBeLessThan(y2)
  })

  it('names the chart, where it is from, its lines with units, and both axes', () => {
    const { texts } = drawn()
    expect(texts).toEqual(
      expect.arrayContaining(['Mixture & <load>', 'Marigold · 17 May 2026', 'λ (λ)', 'time', 'λ']),
    )
    expect(texts).toEqual(expect.arrayContaining(['0:00', '0:30', '0.90', '1.00', '1.10']))
  })

  it('gives a second scale an axis of its own, and keeps fixed ranges', () => {
    const { texts } = drawn({
      data: [...base.data, [900, 950, 1000, 2000, 3000, 4000]] as ChartPicture['data'],
      series: [...base.series, { label: 'engine speed', unit: 'rpm', scale: 'rpm', dash: [6, 4] }],
      yRanges: { rpm: [0, 5000] },
    })
    expect(texts).toEqual(expect.arrayContaining(['engine speed (rpm)', 'rpm', '0', '1000', '5000']))
  })

  it('shows only what is in sight, with the neighbours that the edge cuts', () => {
    const { lines, texts } = drawn({ view: [15, 45] })
    expect(lines.map(({ points }) => points.length / 2)).toEqual([3])
    expect(texts).not.toContain('0:00')
  })

  it('draws bands within the axes and marks with their words', () => {
    const { rects, texts } = drawn({
      bands: [
        { axis: 'y', from: 0.97, to: 1.03 },
        { axis: 'x', from: -50, to: 10 },
        { axis: 'x', from: 90, to: 95 },
      ],
      markers: [
        { x: 20, label: 'hill' },
        { x: 99, label: 'out of sight' },
      ],
    })
    expect(rects).toHaveLength(3)
    for (const [x, y, width, height] of rects.slice(1)) {
      expect(x).toBeGreaterThanOrEqual(84)
      expect(x + width).toBeLessThanOrEqual(pictureWidth - 84)
      expect(y).toBeGreaterThan(0)
      expect(y + height).toBeLessThan(pictureHeight)
    }
    expect(texts).toContain('hill')
    expect(texts).not.toContain('out of sight')
  })

  it('draws something sound of no data at all', () => {
    const { texts, lines } = drawn({ data: [[], []] })
    expect(texts).toContain('Mixture & <load>')
    expect(lines).toEqual([])
  })
})

describe('chartSvg', () => {
  it('writes vectors and words, escaped, with title and description', () => {
    const svg = chartSvg(base)
    expect(svg).toMatch(/^<\?xml version="1.0"/)
    expect(svg).toContain('<title>Mixture &amp; &lt;load&gt;, Marigold · 17 May 2026</title>')
    expect(svg).toContain('<desc>Lean by 0.04 in cruise.</desc>')
    expect(svg.match(/<path /g)!.length).toBeGreaterThan(2)
    expect(svg).not.toContain('NaN')
    expect(svg).not.toContain('<image')
    // Every element that is opened is closed.
    const open = svg.match(/<(?!\/|\?)[a-zA-Z]+[^>]*[^/]>/g)!.length
    expect(svg.match(/<\/[a-zA-Z]+>/g)).toHaveLength(open)
  })
})

describe('axisTicks', () => {
  it.each([
    [0, 10, 5, false, [0, 2, 4, 6, 8, 10]],
    [0.93, 1.08, 8, false, [0.94, 0.96, 0.98, 1, 1.02, 1.04, 1.06, 1.08]],
    [0, 600, 12, true, [0, 60, 120, 180, 240, 300, 360, 420, 480, 540, 600]],
    [3, 3, 5, false, []],
  ] as const)('from %d to %d, at most %d', (from, to, most, isTime, expected) => {
    const ticks = axisTicks(from, to, most, isTime)
    expect(ticks.length).toBe(expected.length)
    for (const [i, tick] of ticks.entries()) expect(tick).toBeCloseTo(expected[i], 9)
  })

  it('has as many decimals as tell neighbours apart', () => {
    expect(tickDecimals([0.94, 0.96])).toBe(2)
    expect(tickDecimals([0, 1000])).toBe(0)
    expect(tickDecimals([0.5, 1])).toBe(1)
  })
})

describe('fileName', () => {
  it('holds nothing that a file system refuses', () => {
    expect(fileName('Marigold · 17 May 2026, 14:03 λ/load?')).toBe('Marigold-17-May-2026-14-03-lambda-load')
    expect(fileName('///')).toBe('chart')
  })
})
