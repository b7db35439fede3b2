/** What is driven in a state, in words of the driver: `20 s of warm full-throttle driving`. */
export const drivingWords: Readonly<Record<string, string>> = Object.freeze({
  idle: 'warm idling',
  transfer: 'driving with the throttle just open',
  cruise: 'steady cruising',
  part_throttle: 'steady part-throttle driving',
  power: 'warm full-throttle driving',
  secondary: 'warm full-throttle driving with all barrels open',
  running: 'steady driving',
  tip_in: 'brisk openings from a warm cruise',
})

/** What is to be driven before data can decide: `20 s of steady cruising and 10 s of warm idling`; empty without needs. */
export function needsWords(needs: readonly { state: string; seconds: number }[]): string {
  const wanted = needs.map(
    ({ state, seconds }) =>
      `${Math.round(seconds)} s of ${drivingWords[state] ?? state.replaceAll('_', ' ')}`,
  )
  return wanted.length > 1
    ? `${wanted.slice(0, -1).join(', ')} and ${wanted[wanted.length - 1]}`
    : (wanted[0] ?? '')
}
