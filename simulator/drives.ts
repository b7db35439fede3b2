import type { Drive, DriveStep } from './driveSteps.ts'
import type { ParameterValues } from './parameters.ts'
import { createRandom, type Random } from './random.ts'

export const driveNames = ['cold_start', 'good', 'traffic', 'highway', 'pulls'] as const
export type DriveName = (typeof driveNames)[number]

/** A drive by name for a car; `seconds` sets how long the ones without an end of their own become. */
export function namedDrive(name: DriveName, p: ParameterValues, seed: number, seconds?: number): Drive {
  const random = createRandom(seed, `drive ${name}`)
  switch (name) {
    case 'cold_start':
      return { name, cold: true, steps: coldStart(p) }
    case 'good':
      return { name, cold: false, steps: goodDrive(p) }
    case 'traffic':
      return { name, cold: false, steps: traffic(p, random, seconds ?? 900) }
    case 'highway':
      return { name, cold: false, steps: highway(random, seconds ?? 600) }
    case 'pulls':
      return { name, cold: false, steps: pulls(p) }
  }
}

function automatic(p: ParameterValues): boolean {
  return p['vehicle.automatic'] > 0.5
}

/** Gear for a full-throttle pull: the one that ends near 110 km/h at the red line. */
function pullGear(p: ParameterValues): number {
  let best = 1
  for (let gear = 1; gear <= p['vehicle.gears']; gear++) {
    const ratio = p[`vehicle.gear_${gear}` as 'vehicle.gear_1'] * p['vehicle.final_drive']
    const kmh = ((0.88 * p['engine.redline_rpm']) / 60 / ratio) * p['vehicle.tyre_m'] * 3.6
    if (kmh < 135) best = gear
  }
  return best
}

function coldStart(p: ParameterValues): DriveStep[] {
  const steps: DriveStep[] = [
    { do: 'wait', s: 3 },
    { do: 'start', mark: 'cold start' },
    { do: 'idle', s: 60 },
  ]
  // A dab on the throttle lets the fast-idle cam fall to where the choke stands by then.
  for (let i = 0; i < 4; i++) {
    steps.push(
      { do: 'tip_in', to_pct: 16, rate_pct_s: 30, hold_s: 0.5 },
      { do: 'idle', s: 40, in_gear: automatic(p) && i === 3 },
    )
  }
  steps.push({ do: 'cruise', kmh: 45, s: 35, pedal_pct: 25, rate_pct_s: 20 }, { do: 'stop', s: 18 })
  for (let i = 0; i < 4; i++) {
    steps.push({ do: 'cruise', kmh: 55, s: 45, pedal_pct: 28, rate_pct_s: 25 }, { do: 'stop', s: 15 })
  }
  steps.push(
    { do: 'tip_in', to_pct: 14, rate_pct_s: 30, hold_s: 0.4 },
    { do: 'idle', s: 45 },
    { do: 'off', s: 5 },
  )
  return steps
}

function goodDrive(p: ParameterValues): DriveStep[] {
  const steps: DriveStep[] = [{ do: 'wait', s: 3 }, { do: 'start' }, { do: 'idle', s: 64, mark: 'warm idle' }]
  if (automatic(p)) steps.push({ do: 'idle', s: 62, in_gear: true })
  for (let i = 0; i < 5; i++) {
    steps.push({ do: 'tip_in', to_pct: 18 + 3 * i, rate_pct_s: 120, hold_s: 0.45 }, { do: 'idle', s: 7 })
  }
  for (const kmh of [50, 70, 90]) {
    steps.push({ do: 'cruise', kmh, s: 34, pedal_pct: 32, rate_pct_s: 25, mark: `cruise ${kmh}` })
    for (let i = 0; i < (kmh === 70 ? 4 : 3); i++) {
      steps.push(
        { do: 'tip_in', by_pct: 20 + 6 * i, rate_pct_s: 140, hold_s: 1.8 },
        { do: 'cruise', kmh, s: 6 },
      )
    }
    steps.push({ do: 'overrun', s: 6 })
  }
  const gear = pullGear(p)
  for (let i = 0; i < 3; i++) {
    steps.push(
      {
        do: 'pull',
        gear,
        from_rpm: 0.36 * p['engine.redline_rpm'],
        to_rpm: 0.88 * p['engine.redline_rpm'],
        mark: `pull ${i + 1}`,
      },
      { do: 'overrun', s: 5 },
    )
  }
  // Pulling up long slopes at part throttle: what the three-speed cruise does not reach.
  for (const grade of [3.5, 5, 4.2])
    steps.push({ do: 'cruise', kmh: 75, s: 22, grade_pct: grade, pedal_pct: 45, rate_pct_s: 25 })
  steps.push({ do: 'cruise', kmh: 60, s: 10, grade_pct: 0 }, { do: 'stop', s: 20 }, { do: 'off', s: 3 })
  return steps
}

function traffic(p: ParameterValues, random: Random, seconds: number): DriveStep[] {
  const steps: DriveStep[] = [
    { do: 'wait', s: random.between(1, 4) },
    { do: 'start' },
    { do: 'idle', s: random.between(8, 40) },
  ]
  let planned = 40
  while (planned < seconds + 60) {
    const grade_pct = Math.round(random.between(-2.5, 3.5) * 10) / 10
    const brisk = random.uniform() < 0.45
    // A small engine is at full load long before its throttle is wide.
    const most = p['engine.displacement_L'] < 2 ? 0.75 : 1
    const pedal_pct = most * (brisk ? random.between(35, 75) : random.between(16, 35))
    const rate_pct_s = brisk ? random.between(60, 220) : random.between(10, 30)
    const kmh = random.pick([30, 40, 50, 50, 60, 70, 80, 95]) + random.integer(-4, 4)
    const hold = random.between(3, random.uniform() < 0.3 ? 40 : 14)
    steps.push({ do: 'cruise', kmh, s: hold, pedal_pct, rate_pct_s, grade_pct })
    planned += hold + kmh / 6
    const what = random.uniform()
    if (what < 0.3) {
      steps.push({
        do: 'tip_in',
        by_pct: random.between(9, 45),
        rate_pct_s: random.between(45, 220),
        hold_s: random.between(0.6, 4),
      })
      steps.push({ do: 'cruise', kmh: Math.max(25, kmh + random.integer(-5, 12)), s: random.between(2, 10) })
      planned += 10
    } else if (what < 0.5) {
      steps.push({ do: 'overrun', s: random.between(2, 8) })
      planned += 5
    } else if (what < 0.58) {
      const gear = pullGear(p)
      steps.push({
        do: 'pull',
        gear,
        from_rpm: 0.38 * p['engine.redline_rpm'],
        to_rpm: random.between(0.6, 0.85) * p['engine.redline_rpm'],
      })
      steps.push({ do: 'overrun', s: random.between(2, 5) })
      planned += 22
    } else if (what < 0.66) {
      steps.push({
        do: 'cruise',
        kmh,
        s: random.between(8, 22),
        grade_pct: random.between(3, 6),
        pedal_pct: 50,
        rate_pct_s: 25,
      })
      planned += 20
    }
    if (random.uniform() < 0.5) {
      const stand = random.between(3, 30)
      steps.push({ do: 'stop', s: stand })
      planned += stand + 12
      if (random.uniform() < 0.15) {
        steps.push(
          { do: 'idle', s: 3 },
          { do: 'tip_in', to_pct: random.between(14, 35), rate_pct_s: random.between(60, 200), hold_s: 0.4 },
        )
        steps.push({ do: 'idle', s: random.between(4, 10) })
        planned += 12
      }
    }
  }
  steps.push({ do: 'stop', s: 10 }, { do: 'off', s: 3 })
  return steps
}

function highway(random: Random, seconds: number): DriveStep[] {
  const steps: DriveStep[] = [{ do: 'wait', s: 2 }, { do: 'start' }, { do: 'idle', s: 15 }]
  let planned = 30
  while (planned < seconds) {
    const s = random.between(30, 90)
    steps.push({
      do: 'cruise',
      kmh: random.integer(78, 108),
      s,
      pedal_pct: random.between(28, 55),
      rate_pct_s: random.between(15, 90),
      grade_pct: random.between(-2, 3),
    })
    planned += s + 8
  }
  steps.push({ do: 'stop', s: 10, grade_pct: 0 }, { do: 'off', s: 2 })
  return steps
}

function pulls(p: ParameterValues): DriveStep[] {
  const steps: DriveStep[] = [{ do: 'wait', s: 2 }, { do: 'start' }, { do: 'idle', s: 20 }]
  const gear = pullGear(p)
  for (let i = 0; i < 4; i++) {
    steps.push(
      {
        do: 'pull',
        gear,
        from_rpm: 0.35 * p['engine.redline_rpm'],
        to_rpm: 0.9 * p['engine.redline_rpm'],
        mark: `pull ${i + 1}`,
      },
      { do: 'overrun', s: 6 },
      { do: 'cruise', kmh: 60, s: 8 },
    )
  }
  steps.push({ do: 'stop', s: 10 }, { do: 'off', s: 2 })
  return steps
}
