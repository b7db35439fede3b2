import { createSubscriber } from 'svelte/reactivity'

const tickMs = 100

/** Time as something to depend on: whoever reads it is worked out anew ten times a second. */
export class Clock {
  #subscribe: () => void
  constructor() {
    this.#subscribe = createSubscriber((update) => {
      const timer = setInterval(update, tickMs)
      return () => clearInterval(timer)
    })
  }

  get nowMs(): number {
    this.#subscribe()
    return performance.now()
  }
}

/** Minutes and seconds from the start, `12:40`; `1:02:03` from an hour. */
export function elapsedText(seconds: number): string {
  const whole = Math.max(0, Math.floor(seconds))
  const two = (n: number) => String(n).padStart(2, '0')
  const minutes = Math.floor(whole / 60)
  if (minutes < 60) return `${minutes}:${two(whole % 60)}`
  return `${Math.floor(minutes / 60)}:${two(minutes % 60)}:${two(whole % 60)}`
}
