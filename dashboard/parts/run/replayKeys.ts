/** What a key does in the replay. */
export type ReplayAction =
  | 'toggle'
  | 'back'
  | 'forward'
  | 'backFar'
  | 'forwardFar'
  | 'sampleBack'
  | 'sampleForward'
  | 'first'
  | 'last'
  | 'nextEvent'
  | 'previousEvent'
  | 'markA'
  | 'markB'
  | 'help'
  | 'leave'

export interface ReplayKey {
  action: ReplayAction
  /** As shown in the help. */
  keys: string
  words: string
  /** Text of its button. */
  button: string
}

/** All keys of the replay, in the order of the help. */
export const replayKeys: readonly ReplayKey[] = [
  { action: 'toggle', keys: 'Space or K', words: 'play or pause', button: 'Play' },
  { action: 'back', keys: '←', words: 'one second back', button: '−1 s' },
  { action: 'forward', keys: '→', words: 'one second on', button: '+1 s' },
  { action: 'backFar', keys: 'Shift ←', words: 'ten seconds back', button: '−10 s' },
  { action: 'forwardFar', keys: 'Shift →', words: 'ten seconds on', button: '+10 s' },
  { action: 'sampleBack', keys: ',', words: 'one sample back', button: '−1 sample' },
  { action: 'sampleForward', keys: '.', words: 'one sample on', button: '+1 sample' },
  { action: 'first', keys: 'Home', words: 'to the start', button: 'Start' },
  { action: 'last', keys: 'End', words: 'to the end', button: 'End' },
  { action: 'previousEvent', keys: 'P', words: 'previous event', button: 'Previous event' },
  { action: 'nextEvent', keys: 'N', words: 'next event', button: 'Next event' },
  { action: 'markA', keys: '[', words: 'compare mark A here', button: 'Mark A' },
  { action: 'markB', keys: ']', words: 'compare mark B here', button: 'Mark B' },
  { action: 'help', keys: '?', words: 'this list', button: 'Keys' },
  { action: 'leave', keys: 'Esc', words: 'out of the replay', button: 'Leave replay' },
]

const byKey: Readonly<Record<string, ReplayAction>> = {
  ' ': 'toggle',
  k: 'toggle',
  ArrowLeft: 'back',
  ArrowRight: 'forward',
  ',': 'sampleBack',
  '.': 'sampleForward',
  Home: 'first',
  End: 'last',
  n: 'nextEvent',
  p: 'previousEvent',
  '[': 'markA',
  ']': 'markB',
  '?': 'help',
  Escape: 'leave',
}

/**
 * The action of a key press; undefined when the key is not ours, or belongs to what has the focus. Keys that are single characters can be switched
 * off (`letterKeys`); Space stays.
 */
export function replayAction(event: KeyboardEvent, letterKeys: boolean): ReplayAction | undefined {
  if (event.defaultPrevented || event.ctrlKey || event.metaKey || event.altKey) return undefined
  const target = event.target instanceof Element ? event.target : undefined
  if (target?.closest('input, select, textarea, [contenteditable]')) return undefined
  const action = byKey[event.key.length === 1 ? event.key.toLowerCase() : event.key]
  if (!action) return undefined
  const isCharacter = event.key.length === 1 && event.key !== ' '
  if (isCharacter && !letterKeys) return undefined
  // A control that has the focus keeps Space and its own arrows.
  if (event.key === ' ' && target?.closest('button, summary, a')) return undefined
  const ownSlider = target?.closest('[role="slider"]')
  if (ownSlider && !ownSlider.matches('[data-part="scrubber"]') && /^(Arrow|Home|End)/.test(event.key))
    return undefined
  if (event.shiftKey && action === 'back') return 'backFar'
  if (event.shiftKey && action === 'forward') return 'forwardFar'
  return action
}
