/** An entry of a run's sources: its number, and what is known of it. */
export interface ReadAs {
  readonly source: number
  readonly [key: string]: unknown
}

/**
 * What a bridge notice says of a source that is read differently from then on: `{"source": 0, "what": "read_as", "kind": "mapped", "map": {…}}`, which takes the
 * place of the source's entry in the `start` record. Undefined for any other notice.
 */
export function readAsOf(notice: Readonly<Record<string, unknown>>): ReadAs | undefined {
  const { what, source } = notice
  return what === 'read_as' && typeof source === 'number' && Number.isInteger(source) && source >= 0
    ? { ...notice, source }
    : undefined
}
