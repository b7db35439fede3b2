import { follow, printTable } from '../closedLoop.ts'
import { secondLoopCar } from './loopCars.ts'

/** The closed loop of advice: swaps until every state is in its band. */
export function scoreAdvice(cars: number, first = 0): void {
  printTable(Array.from({ length: cars }, (_, i) => follow('second', secondLoopCar(first + i), 'advice')))
}
