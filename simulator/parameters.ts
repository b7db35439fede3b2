/** Bounds, default, unit and meaning of one number of the simulator. */
export interface ParameterEntry {
  readonly value: number
  readonly low: number
  readonly high: number
  readonly unit: string
  readonly text: string
}

const entry = (value: number, low: number, high: number, unit: string, text: string): ParameterEntry =>
  Object.freeze({ value, low, high, unit, text })

/**
 * Every number that `--set` can change. The defaults describe a middling engine; each car replaces those that make it what it is.
 * Unless a source stands in the file that uses a figure, it is common practice with no source.
 */
export const parameterTable = {
  'air.temperature_C': entry(20, -40, 55, '°C', 'outside air'),
  'air.pressure_kPa': entry(100, 50, 110, 'kPa', 'station pressure'),
  'air.humidity_pct': entry(0, 0, 100, '%', 'relative humidity'),
  'air.oxygen_dilution': entry(
    0,
    0,
    1,
    '',
    'share of the water vapour that displaces oxygen in λ (1 = all, 0 = density alone)',
  ),
  'air.underhood_C': entry(0, 0, 40, 'K', 'how much warmer the air is at the carburettor'),

  'engine.displacement_L': entry(2.5, 0.3, 10, 'l', 'swept volume'),
  'engine.cylinders': entry(6, 1, 12, '', 'number of cylinders'),
  'engine.idle_rpm': entry(800, 450, 1500, 'rpm', 'warm idle speed that the throttle stop is set to'),
  'engine.fast_idle_rpm': entry(1500, 800, 2600, 'rpm', 'cold fast idle speed that the cam is set to'),
  'engine.inertia_kgm2': entry(0.16, 0.02, 1, 'kg m²', 'crank, flywheel or converter'),
  'engine.manifold_L': entry(3, 0.3, 20, 'l', 'intake manifold volume'),
  'engine.volumetric_efficiency': entry(
    0.9,
    0.5,
    1.15,
    '',
    'at the torque peak, of the charge above exhaust back pressure',
  ),
  'engine.peak_torque_rpm': entry(2800, 1000, 6500, 'rpm', 'speed of the best filling'),
  'engine.redline_rpm': entry(5200, 2500, 9000, 'rpm', 'the driver lifts here'),
  'engine.friction_scale': entry(1, 0.4, 2, '', 'on the friction line of Heywood eq. 13.6'),
  'engine.efficiency': entry(0.34, 0.2, 0.45, '', 'indicated efficiency at full load and best mixture'),
  'engine.thermostat_C': entry(85, 60, 105, '°C', 'thermostat opening'),
  'engine.heat_scale': entry(1, 0.2, 4, '', 'speed of the warm-up'),
  'engine.start_coolant_C': entry(
    Number.NaN,
    -40,
    110,
    '°C',
    'coolant at the start; default 82 warm, the air in a cold start',
  ),
  'engine.lean_limit': entry(1.25, 1.05, 1.6, 'λ', 'misfire begins here'),
  'engine.overlap': entry(0, 0, 1, '', 'camshaft overlap: uneven idle and false lean there'),
  'engine.misfire': entry(0, 0, 1, '', 'share of firings that fail (a bad plug)'),
  'engine.overrun_misfire': entry(0.7, 0, 1, '', 'misfire on overrun at high vacuum'),
  'engine.stoichiometric_ratio': entry(14.6, 5, 18, 'kg/kg', 'of the fuel in the tank'),
  'engine.torque_scatter': entry(0.03, 0, 0.3, '', 'cycle-to-cycle scatter of torque'),

  'film.share_scale': entry(1, 0, 2, '', 'on the share of fuel that lands on the wall'),
  'film.time_scale': entry(1, 0.05, 4, '', 'on the evaporation time'),
  'film.plenum_share': entry(0.3, 0, 1, '', 'share of the manifold in which mixture mixes'),
  'film.fixed_share': entry(Number.NaN, 0, 0.95, '', 'a constant share in place of the fit'),
  'film.fixed_time_s': entry(Number.NaN, 0.02, 10, 's', 'a constant time in place of the fit'),

  'carb.primaries': entry(2, 1, 2, '', 'primary barrels'),
  'carb.secondaries': entry(0, 0, 2, '', 'secondary barrels'),
  'carb.venturi_mm': entry(26, 12, 50, 'mm', 'primary venturi'),
  'carb.bore_mm': entry(34, 18, 60, 'mm', 'primary throttle bore'),
  'carb.secondary_venturi_mm': entry(30, 12, 55, 'mm', 'secondary venturi'),
  'carb.boost': entry(3.2, 1, 8, '', 'booster signal ÷ venturi depression'),
  'carb.main_start_scale': entry(
    1,
    0.1,
    5,
    '',
    'on the air signal at which the main nozzle starts (float level)',
  ),
  'carb.trend_add': entry(
    0,
    -0.5,
    0.5,
    '',
    'added enrichment of the main circuit at high flow (smaller air bleed)',
  ),
  'carb.slot_scale': entry(1, 0, 5, '', 'on the area of the transfer slot'),
  'carb.curb_slot': entry(
    0.35,
    0,
    1,
    '',
    'share of the warm idle fuel that the slot gives at the throttle stop',
  ),
  'carb.valve_range_inHg': entry(5, 0.2, 8, 'inHg', 'vacuum over which the enrichment opens fully'),
  'carb.secondary_start_share': entry(
    0.55,
    0.1,
    1.2,
    '',
    'flow where the secondaries begin to open ÷ primaries’ greatest flow',
  ),
  'carb.secondary_range_share': entry(0.45, 0.05, 1.5, '', 'further flow share until they are wide open'),
  'carb.secondary_spring': entry(1, 0.3, 3, '', 'stiffness of the opening spring'),
  'carb.secondary_time_s': entry(0.25, 0.02, 2, 's', 'time constant of the opening'),
  'carb.secondary_lag_s': entry(0.05, 0, 1, 's', 'time until the secondary nozzles flow'),
  'carb.pump_delay_s': entry(0.02, 0, 0.8, 's', 'from throttle to shot (lever lash)'),
  'carb.pump_scale': entry(1, 0, 4, '', 'on the volume of the shot; 0 is a failed pump'),
  'carb.idle_leak_scale': entry(1, 0.3, 3, '', 'on the air that passes at the throttle stop'),

  'choke.cold_C': entry(20, -30, 50, '°C', 'choke wholly closed at and below'),
  'choke.open_C': entry(66, 10, 110, '°C', 'choke wholly open at'),
  'choke.heat_tau_s': entry(380, 10, 2000, 's', 'time constant of the bimetal at fast idle'),
  'choke.cold_lambda': entry(0.8, 0.5, 1.2, 'λ', 'fast idle mixture at 20 °C that the pull-off is set to'),
  'choke.crank_lambda': entry(0.45, 0.2, 1.5, 'λ', 'metered cranking mixture at 20 °C'),

  'injection.fitted': entry(0, 0, 1, '', '1: throttle-body injection in place of the carburettor'),
  'injection.base_scale': entry(1, 0.5, 2, '', 'on the whole base fuel table'),
  'injection.idle_scale': entry(1, 0.5, 2, '', 'on its idle cells'),
  'injection.cruise_scale': entry(1, 0.5, 2, '', 'on its cruise cells (load below 0.60)'),
  'injection.part_scale': entry(1, 0.5, 2, '', 'on its part-throttle cells'),
  'injection.power_scale': entry(1, 0.5, 2, '', 'on its power cells'),
  'injection.acceleration': entry(1, 0, 5, '', 'acceleration enrichment ÷ what the film needs'),
  'injection.acceleration_decay_s': entry(0.45, 0.05, 3, 's', 'its decay'),
  'injection.cold_pct': entry(35, 0, 150, '%', 'cold enrichment at 20 °C'),
  'injection.overrun_cut': entry(1, 0, 1, '', 'fuel is cut on overrun'),

  'exhaust.volume_L': entry(3, 0.3, 20, 'l', 'from port to sensor'),
  'exhaust.mixing_share': entry(0.25, 0, 1, '', 'share of the volume that mixes'),
  'exhaust.law': entry(0, 0, 1, '', '0 plug flow of the volume, 1 constant + power of the flow'),
  'exhaust.constant_s': entry(0.05, 0, 1, 's', 'law 1: constant part'),
  'exhaust.idle_s': entry(0.4, 0, 2, 's', 'law 1: further delay at warm idle'),
  'exhaust.power': entry(0.7, 0.2, 1.5, '', 'law 1: exponent of the flow'),
  'exhaust.leak_share': entry(
    0,
    0,
    0.8,
    '',
    'outside air in the gas at warm idle (a leak before the sensor)',
  ),

  'sensor.generation': entry(49, 42, 49, '', 'pump-current curve: 49 or 42'),
  'sensor.lag_s': entry(0.06, 0, 1, 's', 'first-order lag, from lean to rich'),
  'sensor.lag_to_lean_s': entry(Number.NaN, 0, 1, 's', 'lag from rich to lean, default the same'),
  'sensor.gain': entry(1, 0.8, 1.2, '', 'ageing: factor on the pump current'),
  'sensor.free_air': entry(1, 0, 1, '', 'a free-air record stands at the start'),
  'sensor.heat_up_s': entry(14, 1, 120, 's', 'time to operating temperature'),
  'sensor.warm': entry(0, 0, 1, '', '1: hot from the start'),
  'sensor.noise_mA': entry(0.002, 0, 0.2, 'mA', 'electrical noise'),
  'sensor.banks': entry(1, 1, 2, '', 'sensors'),
  'sensor.bank_spread': entry(0.02, -0.3, 0.3, '', 'how much leaner the second bank is'),
  'sensor.gain_2': entry(1, 0.8, 1.2, '', 'ageing of the second sensor'),

  'noise.lambda_scatter': entry(0.015, 0, 0.2, '', 'cycle-to-cycle scatter of the mixture'),
  'noise.wander': entry(0.01, 0, 0.1, '', 'slow wander of the mixture'),
  'noise.wander_tau_s': entry(30, 1, 600, 's', 'its time constant'),
  'noise.pulsation_kPa': entry(0.6, 0, 10, 'kPa', 'manifold pressure pulsation, amplitude at idle'),
  'noise.pressure_kPa': entry(0.15, 0, 10, 'kPa', 'manifold pressure noise'),
  'noise.throttle_pct': entry(0.12, 0, 5, '%', 'throttle sensor noise'),
  'noise.throttle_zero_pct': entry(0.8, -10, 30, '%', 'throttle sensor reading when closed'),
  'noise.throttle_span': entry(1, 0.3, 1.5, '', 'throttle sensor span'),
  'noise.rpm_share': entry(0.003, 0, 0.1, '', 'engine speed noise'),
  'noise.heavy_tail': entry(0, 0, 0.2, '', 'share of readings with eight times the noise'),
  'noise.idle_drift': entry(0, 0, 0.5, '', 'slow drift of the idle air'),
  'noise.coolant_C': entry(0.15, 0, 5, 'K', 'coolant sensor noise'),

  'line.jitter_ms': entry(1.5, 0, 200, 'ms', 'arrival jitter'),
  'line.lost_share': entry(0, 0, 0.5, '', 'lines that never arrive'),
  'line.damaged_share': entry(0, 0, 0.5, '', 'lines with a flipped bit'),
  'line.gaps_per_hour': entry(0, 0, 600, '1/h', 'gaps of seconds'),
  'line.gap_s': entry(3, 0.2, 60, 's', 'mean length of a gap'),
  'line.restart_s': entry(Number.NaN, 1, 1e6, 's', 'the board restarts at this time'),
  'line.heater_open_s': entry(Number.NaN, 1, 1e6, 's', 'the sensor heater fails at this time'),
  'line.first_tick': entry(0, 0, 4294967295, '', 'tick counter at the start'),
  'line.first_seq': entry(0, 0, 65535, '', 'sequence number at the start'),

  'vehicle.mass_kg': entry(1200, 300, 6000, 'kg', 'with people'),
  'vehicle.drag_area_m2': entry(0.8, 0.2, 4, 'm²', 'drag coefficient × frontal area'),
  'vehicle.rolling': entry(0.013, 0.005, 0.05, '', 'rolling coefficient'),
  'vehicle.tyre_m': entry(1.95, 1, 3.5, 'm', 'tyre circumference'),
  'vehicle.final_drive': entry(3.9, 2, 7, '', 'axle ratio'),
  'vehicle.gears': entry(4, 1, 6, '', 'number of gears'),
  'vehicle.gear_1': entry(3.4, 0.4, 6, '', 'ratio'),
  'vehicle.gear_2': entry(2.0, 0.4, 6, '', 'ratio'),
  'vehicle.gear_3': entry(1.35, 0.4, 6, '', 'ratio'),
  'vehicle.gear_4': entry(1.0, 0.4, 6, '', 'ratio'),
  'vehicle.gear_5': entry(0.82, 0.4, 6, '', 'ratio'),
  'vehicle.gear_6': entry(0.7, 0.4, 6, '', 'ratio'),
  'vehicle.automatic': entry(0, 0, 1, '', '1: torque converter and automatic shifts'),
  'vehicle.stall_rpm': entry(1700, 900, 4000, 'rpm', 'converter: full-throttle speed at standstill'),
  'vehicle.grade_pct': entry(0, -20, 20, '%', 'constant slope of the road'),

  'driver.foot_period_s': entry(0.8, 0.1, 5, 's', 'time between corrections of the foot'),
  'driver.tremble_pct': entry(0.25, 0, 5, '%', 'trembling of the foot'),
  'driver.brake_m_s2': entry(2, 0.5, 8, 'm/s²', 'usual braking'),
} as const satisfies Record<string, ParameterEntry>

export type ParameterKey = keyof typeof parameterTable
/** A value for every key; NaN stands for "by the other figures". */
export type ParameterValues = Record<ParameterKey, number>
export type ParameterChanges = Partial<ParameterValues>

export const parameterKeys = Object.keys(parameterTable) as ParameterKey[]

/** All defaults, then the changes in their order. */
export function resolveParameters(...changes: (ParameterChanges | undefined)[]): ParameterValues {
  const out = {} as ParameterValues
  for (const key of parameterKeys) out[key] = parameterTable[key].value
  for (const change of changes) if (change) Object.assign(out, change)
  return out
}

/** Letters to insert, delete or replace to make one word of the other. */
function editDistance(a: string, b: string): number {
  let row = Array.from({ length: b.length + 1 }, (_, j) => j)
  for (let i = 1; i <= a.length; i++) {
    const next = [i]
    for (let j = 1; j <= b.length; j++) {
      next.push(Math.min(row[j] + 1, next[j - 1] + 1, row[j - 1] + (a[i - 1] === b[j - 1] ? 0 : 1)))
    }
    row = next
  }
  return row[b.length]
}

/** Up to four of the names that are most like a mistyped one: same ending, part of it, or few letters away. */
export function nearNames(wanted: string, names: readonly string[]): string[] {
  const tail = wanted.slice(wanted.lastIndexOf('.') + 1)
  const scored = names.map((name) => {
    const nameTail = name.slice(name.lastIndexOf('.') + 1)
    const distance = Math.min(editDistance(wanted, name), editDistance(tail, nameTail) + 1)
    return { name, distance: tail.length > 2 && nameTail.includes(tail) ? Math.min(distance, 1) : distance }
  })
  scored.sort((a, b) => a.distance - b.distance || (a.name < b.name ? -1 : 1))
  return scored
    .slice(0, 4)
    .filter((item) => item.distance <= Math.max(4, wanted.length / 2))
    .map((item) => item.name)
}

/**
 * Checks one number of a `--set`.
 * @throws RangeError with the value and what was expected
 */
export function checkParameter(key: ParameterKey, value: number): number {
  const { low, high, unit } = parameterTable[key]
  if (!(value >= low && value <= high)) {
    throw new RangeError(`invalid ${key}: ${value} (expected ${low} … ${high}${unit ? ` ${unit}` : ''})`)
  }
  return value
}
