import type { CarProfile } from '../../core/contract/car.ts'
import type { LiveReading } from '../../core/contract/live.ts'
import type { ServerMessage } from '../../core/contract/stream.ts'

export type LinkState = 'connecting' | 'open' | 'lost'

export interface LinkStatus {
  state: LinkState
  /** Failed attempts in a row. */
  failures: number
  /** `not_paired`: the bridge is there and refuses this screen. */
  problem?: 'not_paired'
}

/** A channel that the trace can draw. */
export interface TraceChannel {
  /** Name in the trace: the channel's, with its source before it when it is not the board. */
  name: string
  /** Unit as declared. */
  unit: string
  /** Worked out here and not sent by a board. */
  derived: boolean
}

export interface TraceRequest {
  id: number
  channels: string[]
  /** Seconds on the trace's clock (0 = the first hello). */
  fromS: number
  toS: number
  /** Pixel columns to reduce to. */
  columnCount: number
}

/** Two points a column: NaN = a gap, +Infinity = no sample on this base (the line goes on). */
export interface TraceAnswer {
  id: number
  timeS: Float64Array
  values: Float32Array[]
  channels: string[]
  /** Oldest and newest time kept. */
  oldestS: number
  newestS: number
}

/** Page → worker. */
export type ToWorker =
  | { type: 'open'; url: string }
  /** The page came back, or the network did: connect now, or make sure that the link lives. */
  | { type: 'nudge' }
  | { type: 'car'; car: CarProfile }
  | { type: 'trace'; request: TraceRequest }

/** Worker → page. */
export type FromWorker =
  | {
      type: 'live'
      reading: LiveReading
      /** Seconds since the newest sample reached this machine; Infinity when none ever did. */
      ageS: number
      /** Seconds since anything came on the open link, a heartbeat at least; 0 while it is not open. */
      linkSilentS: number
      /** Time of the newest sample on the trace's clock. */
      traceS: number
    }
  | { type: 'link'; status: LinkStatus }
  | { type: 'said'; message: Exclude<ServerMessage, { type: 'heartbeat' | 'declaration' }> }
  /** Profile of the car in use, as the bridge has it. */
  | { type: 'car'; car: CarProfile }
  | { type: 'channels'; channels: TraceChannel[] }
  | { type: 'trace'; answer: TraceAnswer }
