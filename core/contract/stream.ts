import type { AlarmPriority } from './result.ts'
import type { ChannelDeclaration, LineCounts } from './samples.ts'

/** WebSocket subprotocol of `GET /live`; `bridge/README.md` tells other programs of it. */
export const streamProtocol = 'floatbowl.v1'

export interface SourceStatus {
  source: number
  name: string
  state: 'connecting' | 'connected' | 'lost' | 'silent'
  /** What a person should know or do, e.g. the permission fix. */
  text: string
  sinceS: number
  counts: LineCounts
  /** A simulator, or a run played again: nobody sits in that car. */
  pretend?: true
  /** Samples a second over the last seconds. */
  rateHz: number
  /** Speed of the serial device now, baud. */
  baud?: number
  /** Name of the line map that its lines are read with. */
  map?: string
  /** The owner may say with a line map what its lines mean. */
  canMap?: true
}

export interface RecordingStatus {
  on: boolean
  /** Run id `car/session/file` while on, and of the last one when off. */
  run?: string
  /** Stream time of the recording's zero. */
  startS?: number
  seconds: number
  bytes: number
  /** Why it stopped or cannot start, e.g. disk full. */
  problem?: string
  automatic: boolean
}

/** An alarm of what only the bridge can see: `disk_nearly_full` (worst: bytes free), `board_clock_drift` (worst: share off). */
export interface BridgeAlarm {
  code: string
  priority: AlarmPriority
  startS: number
  worst: number | null
}

/** Text messages, server → page. Times are seconds on the bridge's monotonic clock (the same as in the sample blocks). */
export type ServerMessage =
  | {
      type: 'hello'
      protocol: 1
      epoch: string
      timeS: number
      at: string
      car: string
      role: 'viewer' | 'controller'
      version: string
    }
  | { type: 'declaration'; source: number; segment: number; channels: ChannelDeclaration[] }
  | { type: 'source'; status: SourceStatus }
  | { type: 'recording'; status: RecordingStatus }
  | { type: 'event'; source: number; timeS: number; code: string; text: string }
  | { type: 'mark'; timeS: number; label: string }
  | { type: 'record'; timeS: number; record: Record<string, unknown> }
  /** Every 0.5 s, so that a page can find a dead link. `block` is the newest block number sent. */
  | { type: 'heartbeat'; timeS: number; block: number }
  /** The page was too slow, or asked to resume from too long ago: so much was left out. */
  | { type: 'missed'; blocks: number; samples: number }
  | { type: 'problem'; code: string; text: string }
  /** All alarms that the bridge itself has on now; told when that changes, and now and then while there are some. */
  | { type: 'alarm'; alarms: BridgeAlarm[] }

/** Text messages, page → server. Anything else is refused and counted. */
export type ClientMessage =
  /** First message after opening: send what came after this block, if `epoch` is still the bridge's; else the last 60 s. */
  { type: 'resume'; epoch: string; afterBlock: number } | { type: 'start' }
