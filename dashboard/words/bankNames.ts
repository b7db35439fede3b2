/** Longest name of a bank that stands beside a strip; chosen here: `right bank` and a little more. */
const mostCharacters = 16

/** A name as Drive has room for it: up to the first comma or bracket, whole words only; `bank 2` where nothing short is left. */
export function shortBankName(name: string, bank: number): string {
  const [head = ''] = name.split(/[,;:(/–]/)
  let short = ''
  for (const word of head.trim().split(/\s+/)) {
    const longer = short === '' ? word : `${short} ${word}`
    if (longer.length > mostCharacters) break
    short = longer
  }
  return short === '' ? `bank ${bank}` : short
}

/** Short names of the banks, in the order of their numbers. Two that would read alike are told apart by their numbers. */
export function shortBankNames(names: readonly string[] | undefined): readonly string[] {
  const short = [0, 1].map((i) => shortBankName(names?.[i] ?? '', i + 1))
  return short[0] === short[1] ? ['bank 1', 'bank 2'] : short
}
