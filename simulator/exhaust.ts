import type { ParameterValues } from './parameters.ts'

const slots = 8192
const mask = slots - 1
/** Gas volume of a gram at the pipe's pressure, litres per kelvin. */
const litresPerGK = 287.05 / 101325

/**
 * Gas from cylinder to sensor: one and a half revolutions, then plug flow through most of the pipe and mixing in the rest; or, as another
 * structure, a delay that is a constant and a power of the flow. Carries the fuel/air ratio φ = 1/λ, which mixes by mass.
 */
export class ExhaustPath {
  /** φ at the sensor tip. */
  phi = 0
  /** Age of the gas that arrives now at the end of the plug, s, and the mean age that mixing adds. */
  plugAgeS = 0
  mixingS = 0

  private readonly phiLog = new Float64Array(slots)
  private readonly turnLog = new Float64Array(slots)
  private readonly volumeLog = new Float64Array(slots)
  private head = 0
  private turned = 0
  private portTail = 0
  private tail = 0
  private volume = 0
  private readonly plugL: number
  private readonly mixingL: number
  private readonly law: number
  private readonly constantS: number
  private readonly idleS: number
  private readonly power: number
  private readonly leakGS: number
  private readonly idleAirGS: number

  constructor(p: ParameterValues, idleAirGS: number, volumeFactor = 1) {
    const share = p['exhaust.mixing_share']
    const volumeL = p['exhaust.volume_L'] * volumeFactor
    this.plugL = volumeL * (1 - share)
    this.mixingL = volumeL * share
    this.law = p['exhaust.law']
    this.constantS = p['exhaust.constant_s']
    this.idleS = p['exhaust.idle_s'] * volumeFactor
    this.power = p['exhaust.power']
    this.idleAirGS = idleAirGS
    const leak = p['exhaust.leak_share']
    this.leakGS = (idleAirGS * leak) / (1 - leak)
  }

  /**
   * One step: cylinder φ in, tip φ out.
   * @param gasGS exhaust flow of this path's engine side
   * @param gasK temperature in the pipe
   */
  step(dt: number, cylinderPhi: number, rpm: number, gasGS: number, gasK: number): void {
    const head = (this.head + 1) & mask
    this.head = head
    this.turned += (rpm / 60) * dt
    const flowL = gasGS * litresPerGK * gasK
    this.volume += flowL * dt
    this.phiLog[head] = cylinderPhi
    this.turnLog[head] = this.turned
    this.volumeLog[head] = this.volume
    let tail = this.tail
    if (this.law < 0.5) {
      // First the cylinder: what was drawn in 1.5 revolutions ago leaves the port now and enters the pipe at the present volume.
      let port = this.portTail
      while (port !== head && this.turned - this.turnLog[(port + 1) & mask] >= 1.5) {
        port = (port + 1) & mask
        this.volumeLog[port] = this.volume
      }
      this.portTail = port
      while (tail !== port && this.volume - this.volumeLog[(tail + 1) & mask] >= this.plugL)
        tail = (tail + 1) & mask
    } else {
      const delayS = this.constantS + this.idleS * (this.idleAirGS / Math.max(gasGS, 0.3)) ** this.power
      const steps = Math.min(delayS / dt, slots - 2)
      while (((head - tail) & mask) > steps) tail = (tail + 1) & mask
    }
    // A stopped engine fills the ring: the oldest gas is dropped before the head laps it.
    if (((head - tail) & mask) > slots - 4) tail = (tail + 1) & mask
    if (((head - this.portTail) & mask) > slots - 4) this.portTail = (this.portTail + 1) & mask
    this.tail = tail
    this.plugAgeS = ((head - tail) & mask) * dt
    let arriving = this.phiLog[tail]
    if (this.leakGS > 0) arriving *= gasGS / (gasGS + this.leakGS + 1e-9)
    this.mixingS = flowL > 1e-4 ? this.mixingL / flowL : 10
    this.phi += (arriving - this.phi) * (1 - Math.exp(-dt / (this.mixingS + 1e-9)))
  }
}
