import { STATUS_CODES } from 'node:http'
import type { Duplex } from 'node:stream'
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
  426: 'Upgrade wanted',
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

/** Refuses on the bare socket, where there is no request to answer yet, and closes it. */
export function refuse(socket: Duplex, status: number, code: string, detail: string): void {
  const body = JSON.stringify(createProblem(status, code, detail))
  const head = [
    `HTTP/1.1 ${status} ${STATUS_CODES[status] ?? 'Refused'}`,
    'Connection: close',
    `Content-Type: ${problemType}`,
    `Content-Length: ${Buffer.byteLength(body)}`,
  ]
  socket.end(`${head.join('\r\n')}\r\n\r\n${body}`)
}
