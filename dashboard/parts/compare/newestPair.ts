import type { RunSummary } from '../../../core/contract/api.ts'

/**
 * Keys of the two newest runs of one car, the older one first: of the car in use when it has two, else of the car driven last that has.
 * Where no car has two, the two newest of all.
 * @param runs newest first
 */
export function newestPair(
  runs: readonly Pick<RunSummary, 'id' | 'car'>[],
  carInUse: string | undefined,
): [string | undefined, string | undefined] {
  const of = (car: string | undefined) => runs.filter((run) => run.car === car)
  const cars = [carInUse, ...runs.map(({ car }) => car)]
  const [newer, older] = cars.map(of).find((own) => own.length >= 2) ?? runs
  return [older?.id, newer?.id]
}
