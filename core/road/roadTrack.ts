import type { SampleBlock } from '../contract/samples.ts'

/** Speeds farther apart than this are not joined, s: a receiver tells once a second at the least. */
const LONGEST_STEP_S = 2.5
/** Road looked at before and after a stretch, s: a receiver's height wanders by metres within seconds. Chosen here. */
const MARGIN_S = 6
/** A slope over less road or fewer heights is noise; common practice, no source. */
const LEAST_ROAD_M = 150
const LEAST_HEIGHTS = 8
/** Steeper is no public road but a fault of the heights, %. */
const STEEPEST_PCT = 25

/** Heights of a run over its road, from a position receiver. */
export interface RoadTrack {
  /** Takes the heights of a block, if it has any; the block is not kept. */
  add(block: SampleBlock): void
  /** Mean slope of the road from `startS` to `endS`, %, uphill positive: heights against distance as a straight line. NaN when there is too little. */
  gradePct(startS: number, endS: number): number
}

export function createRoadTrack(): RoadTrack {
  const timeS: number[] = []
  const heightM: number[] = []
  const distanceM: number[] = []
  const distance = createDistance()
  return {
    add({ channels, count, timeS: blockS, columns }) {
      const height = channels.findIndex(({ name }) => name === 'altitude')
      const speed = channels.findIndex(({ name }) => name === 'road_speed')
      if (height < 0 || speed < 0 || channels[speed].unit !== 'm/s') return
      for (let i = 0; i < count; i++) {
        distance.add(blockS[i], columns[speed][i])
        if (Number.isNaN(columns[height][i])) continue
        timeS.push(blockS[i])
        heightM.push(columns[height][i])
        distanceM.push(distance.metres())
      }
    },
    gradePct(startS, endS) {
      let n = 0
      let meanX = 0
      let meanY = 0
      let xx = 0
      let xy = 0
      let first = Number.NaN
      let last = Number.NaN
      for (let i = 0; i < timeS.length; i++) {
        if (timeS[i] < startS - MARGIN_S || timeS[i] > endS + MARGIN_S) continue
        const x = distanceM[i]
        if (n === 0) first = x
        last = x
        n++
        const dx = x - meanX
        meanX += dx / n
        meanY += (heightM[i] - meanY) / n
        xx += dx * (x - meanX)
        xy += dx * (heightM[i] - meanY)
      }
      if (n < LEAST_HEIGHTS || !(last - first >= LEAST_ROAD_M)) return Number.NaN
      const grade = (100 * xy) / xx
      return Math.abs(grade) <= STEEPEST_PCT ? grade : Number.NaN
    },
  }
}

/** Distance from speeds as they come: straight lines between them, silences left out. */
export function createDistance(): { add(timeS: number, speedMs: number): void; metres(): number } {
  let metres = 0
  let lastS = Number.NaN
  let lastMs = Number.NaN
  return {
    add(timeS, speedMs) {
      if (Number.isNaN(speedMs)) return
      const stepS = timeS - lastS
      if (stepS > 0 && stepS <= LONGEST_STEP_S) metres += (stepS * (speedMs + lastMs)) / 2
      lastS = timeS
      lastMs = speedMs
    },
    metres: () => metres,
  }
}
