import { Board } from './board.ts'
import { type Calibration, calibrate } from './calibration.ts'
import { createChannelReader, type ReadingWorld } from './channelReader.ts'
import { boardChannels, channelSets } from './channels.ts'
import { Driver } from './driver.ts'
import { Engine } from './engine.ts'
import { ExhaustPath } from './exhaust.ts'
import type { LineSink } from './outputs.ts'
import { partEffects } from './partEffects.ts'
import { PositionReceiver } from './positionReceiver.ts'
import { createRandom, type Random } from './random.ts'
import { airOf, type ResolvedRun, resolveRun, type SimulateOptions } from './runOptions.ts'
import { LambdaSensor } from './sensor.ts'
import type { SimCar } from './simCar.ts'
import { TruthRecorder } from './truthRecorder.ts'

/** Longest inner step, s. */
const longestStepS = 0.005
/** Coolant of a warm start, °C, and the least temperature of the sensor then. */
const warmStartC = 82
const warmSensorC = 60

/** The whole world of one run: driver, car, engine, exhaust, sensors, board. Stepped by `runTo`. */
export class Simulation implements ReadingWorld {
  readonly run: ResolvedRun
  readonly engine: Engine
  readonly driver: Driver
  readonly board: Board
  readonly truth: TruthRecorder | undefined
  readonly calibration: Calibration
  readonly sensors: LambdaSensor[] = []
  readonly noise: Random
  /** Seconds since the start. */
  timeS = 0
  /** Angle within a firing interval, 0 … 1, for the pulsation of manifold pressure. */
  pulse = 0
  private readonly car: SimCar
  private readonly paths: ExhaustPath[] = []
  private readonly scatter: Random
  private readonly sink: LineSink
  private readonly receiver: PositionReceiver | undefined
  private readonly readers: (() => number)[]
  private stepS = 0
  private stepsPerSample = 1
  private stepIndex = 0
  private wander = 0
  private readonly cycle = [0, 0]
  private cycleAngle = 0
  private heaterBroken = false
  private readonly heaterOpenS: number
  private readonly secondSpread: number
  private readonly heavyTail: number
  private readonly scatterSize: number
  private readonly overlap: number
  private readonly cylinders: number
  private readonly wanderTauS: number
  private readonly wanderSize: number

  constructor(options: SimulateOptions, sink: LineSink) {
    this.run = resolveRun(options)
    const { p, fitted, drive, seed } = this.run
    this.car = options.car
    this.sink = sink
    this.calibration = calibrate(options.car)
    const airC = p['air.temperature_C']
    const chosenC = p['engine.start_coolant_C']
    const startC = Number.isNaN(chosenC) ? (drive.cold ? airC : Math.max(airC, warmStartC)) : chosenC
    const parts = partEffects(fitted, options.car.right)
    this.engine = new Engine(p, this.calibration, parts, startC, createRandom(seed, 'torque'))
    this.driver = new Driver(this.engine, p, this.calibration, drive.steps, createRandom(seed, 'driver'))
    this.driver.onMark = (label) => sink.record(this.timeS, { type: 'mark', label })
    const banks = p['sensor.banks'] > 1.5 ? 2 : 1
    for (let bank = 0; bank < banks; bank++) {
      // Each bank's pipe takes half the gas; the second pipe is a little longer.
      const volume = (1 / banks) * (bank === 1 ? 1.1 : 1)
      this.paths.push(new ExhaustPath(p, this.calibration.idleAirGS / banks, volume))
      const gain = bank === 0 ? p['sensor.gain'] : p['sensor.gain_2']
      const sensorC = drive.cold ? airC : Math.max(airC, warmSensorC)
      this.sensors.push(new LambdaSensor(p, gain, sensorC, createRandom(seed, `sensor ${bank}`)))
    }
    this.noise = createRandom(seed, 'noise')
    this.heaterOpenS = p['line.heater_open_s']
    this.secondSpread = 1 / (1 + p['sensor.bank_spread'])
    this.heavyTail = p['noise.heavy_tail']
    this.scatterSize = p['noise.lambda_scatter']
    this.overlap = p['engine.overlap']
    this.cylinders = p['engine.cylinders']
    this.wanderTauS = p['noise.wander_tau_s']
    this.wanderSize = p['noise.wander']
    this.scatter = createRandom(seed, 'scatter')
    const names =
      typeof options.channels === 'string'
        ? channelSets[options.channels]
        : (options.channels ?? channelSets.usual)
    if (!names) {
      throw new RangeError(
        `unknown channel set: ${options.channels} (expected ${Object.keys(channelSets).join(', ')})`,
      )
    }
    const channels = boardChannels(names, banks, options.units ?? 'metric')
    this.board = new Board(channels, sink, p, createRandom(seed, 'line'))
    this.readers = channels.map((item) => createChannelReader(item.name, this))
    if (options.gps) {
      this.receiver = new PositionReceiver(this.run.startMs, sink, createRandom(seed, 'position'))
    }
    this.setRate(this.run.rateHz)
    if (options.keepTruth !== false) this.truth = new TruthRecorder(this.run, banks)
    this.writeStart()
  }

  private writeStart(): void {
    const { sink, car } = this
    const { p, fitted, startMs } = this.run
    const at = new Date(startMs).toISOString()
    const sources = this.receiver ? ['board', 'position'] : ['board']
    sink.record(0, { type: 'start', at, app: 'simulator', zone: 'UTC', car: car.name, sources })
    const { sensor } = car.profile
    // A name for all cylinders is none for one of two banks.
    const names = sensor?.bank_names ?? []
    const bankNames = names.length >= this.paths.length ? names.slice(0, this.paths.length) : undefined
    const metering = this.run.p['injection.fitted'] > 0.5 ? 'throttle_body_injection' : car.profile.metering
    sink.record(0, {
      type: 'car',
      car: { ...car.profile, metering, sensor: { ...sensor, bank_names: bankNames } },
    })
    sink.record(0, { type: 'fitted', fitted })
    sink.record(0, { type: 'air', ...airOf(p), source: 'simulated weather' })
    if (p['sensor.free_air'] > 0.5) {
      for (let bank = 0; bank < this.sensors.length; bank++) {
        sink.record(0, {
          type: 'free_air',
          bank: bank + 1,
          current_mA: Math.round(this.freeAirMa(bank) * 1e4) / 1e4,
        })
      }
    }
    this.board.declareAll(0)
  }

  /** Samples a second from now on. */
  setRate(rateHz: number): void {
    const periodS = 1 / rateHz
    this.stepsPerSample = Math.max(1, Math.ceil(periodS / longestStepS - 1e-9))
    this.stepS = periodS / this.stepsPerSample
    this.stepIndex = 0
  }

  /** True after the drive's last step. */
  get done(): boolean {
    return this.driver.done
  }

  /** Pump current in free air that a sensor would show, mA. */
  freeAirMa(bank: number): number {
    return this.sensors[bank].nominalAirMa * this.sensors[bank].gain
  }

  /** Steps to a time; samples fall out on the way. */
  runTo(untilS: number): void {
    while (this.timeS + this.stepS <= untilS + 1e-9 && !this.done) this.step()
  }

  private step(): void {
    const dt = this.stepS
    const { engine } = this
    this.driver.act(dt)
    engine.step(dt)
    this.timeS += dt
    this.stepMixture(dt)
    if (!this.heaterBroken && this.timeS >= this.heaterOpenS) {
      this.heaterBroken = true
      this.sensors[0].breakHeater()
      this.board.event(this.timeS, 'heater_open', 'heater circuit open')
    }
    this.truth?.step(this.timeS, engine)
    if (++this.stepIndex < this.stepsPerSample) return
    this.stepIndex = 0
    this.sample()
  }

  /** From the cylinders to the sensors: slow wander of the whole, scatter anew each firing, unburnt gas, pipe, sensor. */
  private stepMixture(dt: number): void {
    const { engine, paths, sensors, scatter } = this
    if (this.wanderSize > 0) {
      const tau = this.wanderTauS
      this.wander +=
        (-this.wander / tau) * dt + this.wanderSize * Math.sqrt((2 * dt) / tau) * scatter.normal()
    }
    const banks = paths.length
    this.cycleAngle += (engine.rpm * this.cylinders * dt) / 120 / banks
    const { overlap } = this
    const lowPressure = engine.manifoldPa < 0.5 * engine.base.air.pressurePa
    if (this.cycleAngle >= 1) {
      this.cycleAngle -= Math.floor(this.cycleAngle)
      const sigma = this.scatterSize * (1 + (lowPressure ? 6 * overlap : 0))
      for (let bank = 0; bank < banks; bank++) this.cycle[bank] = sigma * scatter.normal()
    }
    const phi = engine.lambda === Number.POSITIVE_INFINITY ? 0 : 1 / engine.lambda
    // Unburnt mixture reads lean, and overlap lets fresh air through at idle.
    const seen =
      (1 - 0.55 * engine.misfire) * (1 - (engine.throttlePct < 2 && engine.rpm > 300 ? 0.12 * overlap : 0))
    const gasK = engine.exhaustC + 273.15
    const gasGS = (engine.cylinderAirGS + engine.cylinderFuelGS) / banks
    const powered = engine.controls.ignition || !this.run.drive.cold
    for (let bank = 0; bank < banks; bank++) {
      const spread = bank === 0 ? 1 : this.secondSpread
      const cylinderPhi = phi * spread * (1 + this.wander) * (1 + this.cycle[bank]) * seen
      paths[bank].step(dt, cylinderPhi, engine.rpm, gasGS, gasK)
      sensors[bank].step(dt, paths[bank].phi, powered, engine.exhaustC)
    }
  }

  private sample(): void {
    const { engine, board, noise, readers } = this
    const tail = this.heavyTail > 0 && noise.uniform() < this.heavyTail ? 8 : 1
    for (const sensor of this.sensors) sensor.read(tail)
    const turns = (engine.rpm / 120) * this.cylinders * this.stepS * this.stepsPerSample
    this.pulse = (this.pulse + turns) % 1
    for (let i = 0; i < readers.length; i++) board.values[i] = readers[i]()
    board.sample(this.timeS)
    if (this.truth) {
      const path = this.paths[0]
      // Mixing of a stopped engine has no end: what is told is bounded.
      const mixingS = Math.min(path.mixingS, 3)
      const totalS = path.plugAgeS + mixingS + this.sensors[0].meanLagS
      this.truth.sample(this.timeS, engine, this.wander, path.plugAgeS, totalS)
    }
    this.receiver?.step(this.timeS, engine)
  }
}
