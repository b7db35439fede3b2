import { comparePairs, printPairs } from '../comparePairs.ts'
import { secondPairCar } from './pairCars.ts'

/** Pairs of drives with nothing changed, and with the main jet changed. */
export function scoreCompare(cars: number, first = 0): void {
  printPairs(Array.from({ length: cars }, (_, i) => comparePairs('second', secondPairCar(first + i))))
}
