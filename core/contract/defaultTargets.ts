import type { Targets } from './car.ts'

/** λ targets and bands of an older road car: common practice, no source; power after Heywood (best torque near λ 0.9). */
export const defaultTargets: Readonly<Required<Targets>> = Object.freeze({
  idle: { lambda: 0.95, rich: 0.05, lean: 0.05 },
  cruise: { lambda: 1.02, rich: 0.04, lean: 0.04 },
  part_throttle: { lambda: 0.97, rich: 0.04, lean: 0.04 },
  power: { lambda: 0.87, rich: 0.03, lean: 0.02 },
  warm_up: { lambda: 0.8, rich: 0.08, lean: 0.08 },
})
