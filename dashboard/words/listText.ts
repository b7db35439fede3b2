/** `idle, cruise and power`. */
export function listText(items: readonly string[]): string {
  const last = items.length - 1
  return last > 0 ? `${items.slice(0, last).join(', ')} and ${items[last]}` : (items[0] ?? '')
}
