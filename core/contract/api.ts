import type { LineMap } from '../line/lineMap.ts'
import type { Air, CarProfile, Fitted } from './car.ts'
import type { RecordingStatus, SourceStatus } from './stream.ts'

/*
 * HTTP contract. Bodies are JSON; errors are RFC 9457 problem JSON. `RUN` is `car/session/file` (three path segments).
 *
 *   GET    /api/status                         Status
 *   GET    /api/runs                           RunSummary[], newest first
 *   GET    /api/runs/RUN/bytes                 the capture's bytes (ranges; gzip by Accept-Encoding)
 *   GET    /api/runs/RUN/result                AnalysisResult
 *   POST   /api/runs/RUN/records               append a title, note, fitted, air or car record after the drive
 *   GET    /api/runs/RUN/report?mixture=afr&bore=in    printable HTML
 *   GET    /api/runs/RUN/export?to=csv|parquet
 *   POST   /api/recording                      {on, car?} → RecordingStatus
 *   POST   /api/marks                          {label}
 *   POST   /api/notes                          {text}
 *   POST   /api/compare                        {a: RUN, b: RUN, mixture?} → ComparisonResult
 *   POST   /api/advise                         {runs: RUN[], car, mixture?, bore?, checked?, ask?} → AdviceResult
 *   GET    /api/progress/ASK                   {share: 0 … 1, or null when nothing of that name is under way}
 *   GET    /api/cars                           CarProfile[];   PUT /api/cars/CAR  (whole profile)
 *   GET    /api/cars/CAR/parts                 {fitted, box};  PUT the same
 *   GET    /api/cars/CAR/swaps                 Swap[];         POST {part, to, cost?, reason?}   DELETE …/ID (undo)
 *   GET    /api/cars/CAR/tanks                 Tank[];         POST Tank                         DELETE …/ID
 *   PATCH  /api/cars/CAR/swaps/ID              {reason?, cost?, minutes?}: what was noted later
 *   GET    /api/lines?source=N&after=NUMBER    RawLine[], the newest lines of a source as they came
 *   POST   /api/ports                          {listen} → PortReport[]
 *   GET    /api/maps                           SavedLineMap[];  PUT /api/maps/NAME  (a line map)
 *   PUT    /api/sources/N/map                  {name: of a saved map, or null for our own format}: read so from now on, and next time on that port
 *   POST   /api/car                            {car}: the car in use
 *   POST   /api/air                            Air, for the run under way and as today's default
 *   POST   /api/pair                           {token} or {code} → sets the cookie
 *   GET    /pair                               the page that a pairing link opens, to whom is not paired
 *   GET    /api/clients                        paired clients; PATCH …/ID {name, role}; DELETE …/ID revokes
 *   POST   /api/pairing                        new one-time link and code (controllers on loopback only)
 */

export interface Status {
  version: string
  car: string
  sources: SourceStatus[]
  recording: RecordingStatus
  /** True when the page's host is the bridge itself. */
  loopback: boolean
  role: 'viewer' | 'controller'
  lan: boolean
  addresses: string[]
  diskFreeBytes: number
  /** Air of the day, when it was noted. */
  air?: Air
}

export interface RunSummary {
  /** `car/session/file`. */
  id: string
  car: string
  session: string
  /** ISO 8601 of the start, from the capture itself. */
  start: string
  /** IANA name of the time zone there, when the capture names it. */
  zone?: string
  seconds: number
  bytes: number
  title: string
  fitted: Fitted
  air?: Air
  marks: number
  recording: boolean
  /** Why it cannot be opened, in words; absent when fine. */
  problem?: string
}

/** One change of a part, for the log book. */
export interface Swap {
  id: string
  at: string
  part: string
  from: Fitted[string] | null
  to: Fitted[string]
  reason?: string
  cost?: number
  minutes?: number
}

/** One filling of the tank. */
export interface Tank {
  id: string
  at: string
  distance_km: number
  fuel_l: number
  cost?: number
  /** False for a part filling: economy is then worked out over several. */
  full: boolean
  fuel?: string
  note?: string
}

export interface CarsFile {
  cars: CarProfile[]
}

/** RFC 9457. */
export interface Problem {
  type: string
  title: string
  status: number
  detail: string
  code: string
}

/** A device that was let in. */
export interface PairedClient {
  id: string
  name: string
  role: 'viewer' | 'controller'
  pairedAt: string
  lastSeen?: string
}

/** Answer of `POST /api/pairing {role?}`: links that work once. */
export interface PairingOffer {
  /** One a network interface, since a tablet reaches only some of them. */
  links: { interfaceName: string; url: string; qrSvg: string }[]
  /** Six digits to type in place of a link, at `address` of any of them. */
  code: string
  seconds: number
}

/** One line of a source as it came; bytes that are no printable ASCII are written `\xHH`. */
export interface RawLine {
  /** Rises over all sources. */
  number: number
  source: number
  /** Arrival on the bridge's clock. */
  timeS: number
  text: string
}

/** A serial port of the bridge's machine. */
export interface PortReport {
  path: string
  description: string
  /** What was heard: a board, a position receiver, another format, silence; or `not opened`. */
  speaks: string
  baud?: number
  /** Why it could not be opened, and what to do. */
  problem?: string
}

/** A line map kept by the bridge. */
export interface SavedLineMap {
  name: string
  /** File for `--map`. */
  path: string
  map: LineMap
}
