import type { LiveReading } from '../../core/contract/live.ts'
import type { Pipeline, PipelineOptions } from '../../core/contract/pipeline.ts'
import type { SampleBlock } from '../../core/contract/samples.ts'

/** Stands in until core has the real one: newest values, no states. */
export function createPipeline(
  _options: PipelineOptions,
): Pick<Pipeline, 'push' | 'event' | 'record' | 'advance' | 'live'> {
  const newest: Record<string, number> = {}
  let timeS = Number.NaN
  let history: [number, number][] = []
  return {
    push(block: SampleBlock) {
      for (let c = 0; c < block.columns.length; c++)
        newest[block.channels[c].name] = block.columns[c][block.count - 1]
      timeS = block.timeS[block.count - 1]
      if (newest.lambda) history.push([timeS, newest.lambda])
      history = history.filter(([t]) => t > timeS - 10)
    },
    event() {},
    record() {},
    advance(nowS) {
      timeS = nowS
    },
    live(): LiveReading {
      const get = (name: string) => newest[name] ?? Number.NaN
      const lambda = get('lambda')
      const values = history.map(([, value]) => value)
      return {
        timeS,
        state: 'cruise',
        banks: [
          {
            bank: 1,
            lambda,
            lambdaUncertainty: 0.01,
            untrusted: Number.isNaN(lambda) ? 'no_sensor' : undefined,
            warmingPct: Number.NaN,
            least10s: Math.min(...values),
            most10s: Math.max(...values),
          },
        ],
        targetLambda: 1.02,
        bandRich: 0.04,
        bandLean: 0.04,
        stoichiometricRatio: 14.7,
        engineSpeedRpm: get('engine_speed'),
        throttlePct: get('throttle'),
        manifoldKpa: get('manifold_pressure'),
        barometerKpa: get('barometer'),
        load: Number.NaN,
        coolantC: get('coolant'),
        intakeAirC: get('intake_air'),
        exhaustC: Number.NaN,
        supplyV: get('supply'),
        roadSpeedMs: Number.NaN,
        oilKpa: Number.NaN,
        fuelKpa: Number.NaN,
        coverage: [],
        steady: true,
        steadyWhyNot: '',
        alarms: [],
      }
    },
  }
}
