import { getContext, setContext } from 'svelte'

const key = Symbol('chart origin')

/** Says for the charts below where their data are from: car, run and date, for pictures that leave the page. */
export function setChartOrigin(origin: () => string): void {
  setContext(key, origin)
}

/** What was said above; undefined where nothing was. */
export function getChartOrigin(): (() => string) | undefined {
  return getContext<(() => string) | undefined>(key)
}
