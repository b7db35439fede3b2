import { type IncomingHttpHeaders, request } from 'node:http'
import { connect } from 'node:net'
import { streamProtocol } from '../../core/contract/stream.ts'

export interface RawRequest {
  method?: string
  path: string
  /** `Host` header; default the loopback address. */
  host?: string
  cookie?: string
  headers?: Record<string, string>
  json?: unknown
  body?: string | Buffer
  /** Address this end of the connection is bound to, e.g. 127.0.0.2. */
  from?: string
}

export interface RawAnswer {
  status: number
  headers: IncomingHttpHeaders
  text: string
  /** The body read as JSON, undefined when it is none. */
  json: unknown
}

/** One HTTP request with any headers a browser would not let a page set. The path is sent as it is. */
export function send(port: number, options: RawRequest): Promise<RawAnswer> {
  const { method = 'GET', path, host, cookie, json, from } = options
  const body = options.body ?? (json === undefined ? undefined : JSON.stringify(json))
  return new Promise((resolve, reject) => {
    const asked = request({
      host: '127.0.0.1',
      port,
      method,
      path,
      localAddress: from,
      agent: false,
      setHost: false,
      headers: {
        host: host ?? `127.0.0.1:${port}`,
        ...(cookie && { cookie }),
        ...(body !== undefined && {
          'content-type': 'application/json',
          'content-length': String(Buffer.byteLength(body)),
        }),
        ...options.headers,
      },
    })
    asked.on('error', reject)
    asked.on('response', (answer) => {
      const parts: Buffer[] = []
      answer.on('data', (part: Buffer) => parts.push(part))
      answer.on('error', reject)
      answer.on('end', () => {
        const text = Buffer.concat(parts).toString('utf8')
        resolve({ status: answer.statusCode ?? 0, headers: answer.headers, text, json: parse(text) })
      })
    })
    asked.end(body)
  })
}

function parse(text: string): unknown {
  try {
    return JSON.parse(text)
  } catch {
    return undefined
  }
}

export interface RawLive {
  status: number
  text(): string
  closed(): boolean
  write(bytes: Uint8Array): void
  destroy(): void
}

/** Asks for the live stream by hand and resolves with the status line's code. */
export function openLive(
  port: number,
  options: { host?: string; cookie?: string; origin?: string; from?: string } = {},
): Promise<RawLive> {
  return new Promise((resolve, reject) => {
    const socket = connect({ port, host: '127.0.0.1', localAddress: options.from })
    let received = ''
    let closed = false
    let answered = false
    socket.on('error', reject)
    socket.on('close', () => {
      closed = true
    })
    socket.on('data', (part) => {
      received += part.toString('latin1')
      const match = /^HTTP\/1\.1 (\d{3})/.exec(received)
      if (!match || answered) return
      answered = true
      resolve({
        status: Number(match[1]),
        text: () => received,
        closed: () => closed,
        write: (bytes) => socket.write(bytes),
        destroy: () => socket.destroy(),
      })
    })
    const lines = [
      'GET /live HTTP/1.1',
      `Host: ${options.host ?? `127.0.0.1:${port}`}`,
      'Connection: Upgrade',
      'Upgrade: websocket',
      'Sec-WebSocket-Version: 13',
      'Sec-WebSocket-Key: AAAAAAAAAAAAAAAAAAAAAA==',
      `Sec-WebSocket-Protocol: ${streamProtocol}`,
      ...(options.cookie ? [`Cookie: ${options.cookie}`] : []),
      ...(options.origin ? [`Origin: ${options.origin}`] : []),
    ]
    socket.write(`${lines.join('\r\n')}\r\n\r\n`)
  })
}
