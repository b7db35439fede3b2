import type { Fitted, Part } from '../core/contract/car.ts'
import { jetAreaMm2 } from './simCar.ts'

/** What the fitted parts do, as ratios to the parts that suit the car (1 = the right part). */
export interface PartEffects {
  main: number
  power: number
  secondary: number
  /** Idle port opened by the mixture screws. */
  screws: number
  idleFeed: number
  squirter: number
  pumpVolume: number
  spring: number
  valveOpensInHg: number
  /** Choke set richer (positive) or leaner by so many notches; one notch moves its opening by 4 K. */
  chokeNotch: number
}

function ratio(fitted: number | undefined, right: number | undefined): number {
  if (fitted === undefined || right === undefined || !(right > 0)) return 1
  return fitted / right
}

function number(part: Part | undefined, field: string): number | undefined {
  const value = part?.[field]
  return typeof value === 'number' ? value : undefined
}

/** Enrichment area: the restriction's bore, or what the metering rod uncovers between its two steps. */
function powerArea(fitted: Fitted): number {
  if (fitted.rod) {
    return (
      jetAreaMm2(fitted.main_jet, fitted.rod, 'power') - jetAreaMm2(fitted.main_jet, fitted.rod, 'cruise')
    )
  }
  return jetAreaMm2(fitted.power_restriction)
}

/** Compares the fitted parts with the right ones, circuit by circuit. A part that neither names counts as right. */
export function partEffects(fitted: Fitted, right: Fitted): PartEffects {
  const area = (name: string) => ratio(areaOf(fitted[name]), areaOf(right[name]))
  return {
    main: ratio(jetAreaMm2(fitted.main_jet, fitted.rod), jetAreaMm2(right.main_jet, right.rod)) || 1,
    power: orOne(ratio(powerArea(fitted), powerArea(right))),
    secondary: area('secondary_jet'),
    screws: ratio(number(fitted.idle_screws, 'turns'), number(right.idle_screws, 'turns')),
    idleFeed: area('idle_feed'),
    squirter: area('squirter'),
    pumpVolume: ratio(number(fitted.pump_cam, 'volume_ml'), number(right.pump_cam, 'volume_ml')),
    spring: ratio(number(fitted.opening_spring, 'stiffness'), number(right.opening_spring, 'stiffness')),
    valveOpensInHg:
      number(fitted.power_valve, 'opens_inHg') ??
      number(fitted.rod_spring, 'opens_inHg') ??
      number(right.power_valve, 'opens_inHg') ??
      number(right.rod_spring, 'opens_inHg') ??
      9.5,
    chokeNotch: number(fitted.choke, 'notch') ?? 0,
  }
}

function areaOf(part: Part | undefined): number | undefined {
  const area = jetAreaMm2(part)
  return Number.isNaN(area) ? undefined : area
}

function orOne(value: number): number {
  return Number.isNaN(value) ? 1 : value
}
