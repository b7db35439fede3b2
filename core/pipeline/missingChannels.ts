import type { AnalysisResult } from '../contract/result.ts'
import type { LearnedCar } from '../engine/learnedCar.ts'
import { type ChannelName, channelSlots } from './channels.ts'
import type { RunKnowledge } from './runKnowledge.ts'

const uses: readonly [ChannelName, string][] = [
  ['engine_speed', 'operating states, transport delay, map, warm-up, pulls and stumbles'],
  ['throttle', 'true throttle openings and closings, rest, and steadiness from the foot itself'],
  [
    'manifold_pressure',
    'load: cruise, part throttle and power told apart, and a delay that follows the exhaust flow',
  ],
  ['barometer', 'load that is right at any height'],
  ['coolant', 'warm-up: λ against temperature, choke, and states of a warm engine only'],
  ['intake_air', 'power and mixture corrected for the air that the engine breathes'],
  ['road_speed', 'stumbles told from gear changes, wheel power and coverage by speed'],
  ['exhaust_temperature', 'an alarm before sensor and valves get too hot'],
  ['oil_pressure', 'an alarm for low oil pressure'],
  ['fuel_pressure', 'lean under load told apart from a starved carburettor'],
  ['supply', 'a weak supply told apart from a bad sensor'],
  ['secondary', 'openings into the secondaries judged by themselves'],
]

/** Channels that the run did not have, and what each would have given; also what the records left open. */
export function missingChannels(
  present: Uint8Array,
  known: RunKnowledge,
  learned: LearnedCar,
): AnalysisResult['missing'] {
  const has = (name: ChannelName) => present[channelSlots[name]] === 1
  const missing: AnalysisResult['missing'] = []
  const tell = (channel: string, would_give: string) => missing.push({ channel, would_give })
  if (!has('pump_current') && !has('lambda')) tell('lambda', 'the mixture itself')
  for (const [name, would_give] of uses) {
    if (has(name)) continue
    // With the day's air or the engine standing once, the barometer is known well enough.
    if (name === 'barometer' && learned.barometerFrom !== 'assumed') continue
    tell(name, would_give)
  }
  if (has('pump_current') && !has('cell_resistance') && !has('heater_duty')) {
    tell('cell_resistance', 'whether the sensor is hot, so that a cold sensor is never believed')
  }
  if (has('pump_current') && Number.isNaN(known.freeAirMa[0])) {
    tell(
      'free_air',
      'the gain of the sensor: λ right by about 3 % of its distance from 1 at each per cent of ageing',
    )
  }
  if (!known.air) tell('air', 'runs of two days compared at the same air, and corrected power')
  return missing
}
