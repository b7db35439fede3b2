/** What the person at the wheel does at this moment. */
export interface Controls {
  /** Foot on the throttle, %. */
  footPct: number
  brakeN: number
  /** 0 pedal down … 1 released. */
  clutch: number
  /** 0 neutral, 1 … */
  gear: number
  starter: boolean
  ignition: boolean
  gradePct: number
}

/** Hands and feet off. */
export function noControls(): Controls {
  return { footPct: 0, brakeN: 0, clutch: 1, gear: 0, starter: false, ignition: false, gradePct: 0 }
}
