/** Words for states, the same everywhere. */
export const stateWords: Readonly<Record<string, string>> = Object.freeze({
  idle: 'idle',
  cruise: 'cruise',
  part_throttle: 'part throttle',
  power: 'power',
  warm_up: 'warm-up',
  running: 'running',
})
