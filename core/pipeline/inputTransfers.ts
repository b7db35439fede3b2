import type { CarProfile } from '../contract/car.ts'
import { slopeAt } from '../sensing/groundOffset.ts'
import { parseSenderTransfer, type SenderTransfer } from '../sensing/senderTransfer.ts'
import { channelSlots, firstInputSlot, slotOf } from './channels.ts'
import type { InputTransfer } from './rowReader.ts'

/** Difference of grounds that nobody has checked, standard uncertainty, V; common practice, no source. */
const UNCHECKED_GROUND_V = 0.03
/** A wideband controller's own accuracy when the profile names none, λ; common practice, no source. */
const USUAL_DEVICE_LAMBDA = 0.01
/** Larger is no ground offset, V. */
const MOST_OFFSET_V = 0.5
const OUTPUT_SPAN_V = 5
const TABLE_STEPS = 250

/** Standard uncertainty of a λ that came as a voltage. */
export type LambdaUncertaintyAt = (lambda: number) => number

export interface InputSettings {
  readonly inputs: InputTransfer[]
  /** By bank; undefined where λ does not come as a voltage. */
  readonly outputUncertainty: [LambdaUncertaintyAt | undefined, LambdaUncertaintyAt | undefined]
}

/**
 * Reads `inputs` of a car's profile: `{"input_1": {"channel": "lambda", "transfer": {…}, "offset_V": 0.04, "offset_uncertainty_V": 0.005, "accuracy": 0.01}}`.
 * `offset_V` is what a ground check found (`measureGroundOffset`) and is taken from each reading; its uncertainty, or that of an unchecked ground, is
 * carried into λ through the slope of the transfer. `attempt` takes what cannot be used.
 */
export function readInputs(
  car: CarProfile | undefined,
  attempt: <T>(make: () => T, fallback: T) => T,
): InputSettings {
  const inputs: InputTransfer[] = []
  const outputUncertainty: InputSettings['outputUncertainty'] = [undefined, undefined]
  for (const [name, value] of Object.entries(car?.inputs ?? {})) {
    const entry = (value ?? {}) as Record<string, unknown>
    const channel = entry['channel']
    const inputSlot = slotOf(name)
    const channelSlot = typeof channel === 'string' ? slotOf(channel) : -1
    if (inputSlot < firstInputSlot || channelSlot < 0) continue
    const made = attempt<ReturnType<typeof readInput> | undefined>(() => readInput(name, entry), undefined)
    if (!made) continue
    const { transfer, offsetV } = made
    inputs.push({
      inputSlot,
      channelSlot,
      convert: offsetV === 0 ? transfer : (volts) => transfer(volts - offsetV),
    })
    const uncertainty = () => lambdaUncertaintyOf(transfer, made.uncertaintyV, made.accuracy)
    if (channelSlot === channelSlots.lambda) outputUncertainty[0] = uncertainty()
    if (channelSlot === channelSlots.lambda_2) outputUncertainty[1] = uncertainty()
  }
  return { inputs, outputUncertainty }
}

function readInput(name: string, entry: Record<string, unknown>) {
  const offsetV = numberOf(name, entry, 'offset_V', 0, MOST_OFFSET_V)
  return {
    transfer: parseSenderTransfer(entry['transfer']),
    offsetV,
    uncertaintyV: Math.abs(numberOf(name, entry, 'offset_uncertainty_V', UNCHECKED_GROUND_V, MOST_OFFSET_V)),
    accuracy: Math.abs(numberOf(name, entry, 'accuracy', USUAL_DEVICE_LAMBDA, 1)),
  }
}

function numberOf(
  name: string,
  entry: Record<string, unknown>,
  key: string,
  fallback: number,
  most: number,
): number {
  const value = entry[key]
  if (value === undefined) return fallback
  if (typeof value === 'number' && Math.abs(value) <= most) return value
  throw new RangeError(`invalid ${name}.${key}: ${JSON.stringify(value)} (expected a number within ±${most})`)
}

/** λ's uncertainty over λ itself, prepared once: root of the sum of squares of the ground's share and the device's. */
function lambdaUncertaintyOf(
  transfer: SenderTransfer,
  uncertaintyV: number,
  accuracy: number,
): LambdaUncertaintyAt {
  const points: [number, number][] = []
  for (let i = 0; i <= TABLE_STEPS; i++) {
    const volt = (OUTPUT_SPAN_V * i) / TABLE_STEPS
    const lambda = transfer(volt)
    const slope = slopeAt(transfer, volt)
    if (!Number.isNaN(lambda) && !Number.isNaN(slope))
      points.push([lambda, Math.hypot(slope * uncertaintyV, accuracy)])
  }
  points.sort((a, b) => a[0] - b[0])
  const lambdas = Float64Array.from(points, ([lambda]) => lambda)
  const uncertainties = Float64Array.from(points, ([, uncertainty]) => uncertainty)
  return (lambda) => {
    if (!(lambda >= lambdas[0]) || points.length === 0) return accuracy
    let low = 0
    let high = lambdas.length - 1
    while (high - low > 1) {
      const middle = (low + high) >> 1
      if (lambdas[middle] <= lambda) low = middle
      else high = middle
    }
    return uncertainties[low]
  }
}
