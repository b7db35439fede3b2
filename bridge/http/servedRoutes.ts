/** A method and an address that is answered, parameters as `:name`. */
export interface ServedRoute {
  readonly method: string
  readonly url: string
}

/** The methods that a path is answered to, each once, in alphabetical order. */
export function methodsAt(routes: readonly ServedRoute[], path: string): string[] {
  const said = path.split('/')
  const fitting = routes.filter(({ url }) => isAt(url.split('/'), said))
  return [...new Set(fitting.map(({ method }) => method))].sort()
}

const isAt = (pattern: readonly string[], said: readonly string[]) =>
  pattern.length === said.length &&
  pattern.every((part, i) => (part.startsWith(':') ? said[i] !== '' : part === said[i]))
