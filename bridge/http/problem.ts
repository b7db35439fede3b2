import type { Problem } from '../../core/contract/api.ts'

/** Ends a request with a problem document (RFC 9457). */
export class HttpProblem extends Error {
  readonly status: number
  readonly code: string

  constructor(status: number, code: string, detail: string) {
    super(detail)
    this.name = 'HttpProblem'
    this.status = status
    this.code = code
  }
}

const titles: Readonly<Record<number, string>> = {
  400: 'Bad request',
  401: 'Not paired',
  403: 'Not allowed',
  404: 'Not found',
  405: 'Method not allowed',
  408: 'Too slow',
  409: 'Not possible now',
  413: 'Too large',
  415: 'Wrong content type',
  416: 'Range not satisfiable',
  422: 'Could not be worked out',
  429: 'Too many requests',
  431: 'Headers too large',
  500: 'Failed',
  501: 'Not built in',
  503: 'Not available',
  507: 'Disk full',
}

/** Media type of a problem document. */
export const problemType = 'application/problem+json'

export function createProblem(status: number, code: string, detail: string): Problem {
  return { type: 'about:blank', title: titles[status] ?? 'Failed', status, detail, code }
}
