import type { LiveReading } from '../../core/contract/live.ts'
import type { App } from '../state/app.ts'

const base: LiveReading = {
  timeS: 760,
  state: 'cruise',
  banks: [
    { bank: 1, lambda: 1.01, lambdaUncertainty: 0.005, warmingPct: 100, least10s: 0.99, most10s: 1.05 },
  ],
  targetLambda: 1.02,
  bandRich: 0.04,
  bandLean: 0.04,
  stoichiometricRatio: 14.7,
  engineSpeedRpm: 2140,
  throttlePct: 18,
  manifoldKpa: 51.8,
  barometerKpa: 101.2,
  load: 0.51,
  coolantC: 84,
  intakeAirC: 24,
  exhaustC: Number.NaN,
  supplyV: 13.9,
  roadSpeedMs: 22,
  oilKpa: Number.NaN,
  fuelKpa: Number.NaN,
  coverage: [{ item: 'cruise', have: 30, want: 90, unit: 's' }],
  steady: true,
  steadyWhyNot: '',
  alarms: [],
}

/** Fields of a picture that are no reading. */
interface DemoExtras {
  role?: 'viewer' | 'controller'
  recordingS?: number
  /** Why recording stopped or cannot start. */
  problem?: string
  units?: Record<string, string>
  car?: Parameters<App['link']['setCar']>[0]
  /** Alarms that were on until now. */
  over?: LiveReading['alarms']
}

/**
 * Shows one fixed reading (`?reading={…}`), laid over a cruise on target: for tests and pictures of states that a live source reaches rarely.
 * JSON has no NaN: `null` stands for it.
 */
export function demoReading(app: App, json: string): void {
  let given: Partial<LiveReading> & DemoExtras = {}
  try {
    given = JSON.parse(json, (_key, value) => (value === null ? Number.NaN : value)) as typeof given
  } catch {
    // An unreadable picture shows the base reading.
  }
  const { recordingS, problem, units, car, role, over, ...reading } = given
  const banks = reading.banks?.map((bank, i) => ({ ...base.banks[0], ...bank, bank: (i + 1) as 1 | 2 }))
  const alarms = asActive(reading.alarms ?? [])
  const full: LiveReading = { ...base, ...reading, banks: banks ?? base.banks, alarms }
  if (units) app.settings.preview({ units })
  if (car) app.link.setCar(car)
  if (role) app.link.preview(role)
  app.reading.fix(full)
  if (over) app.alarms.receive(asActive(over), full.timeS)
  app.alarms.receive(full.alarms, full.timeS)
  app.recording.receive({
    on: recordingS !== undefined,
    seconds: recordingS ?? 0,
    bytes: 0,
    automatic: false,
    problem,
  })
}

const asActive = (alarms: LiveReading['alarms']): LiveReading['alarms'] =>
  alarms.map((alarm) => ({ ...alarm, endS: Number.NaN }))
