import type { Duplex } from 'node:stream'
import type { FastifyInstance, FastifyReply } from 'fastify'
import { issueLine } from '../../core/contract/plainIssue.ts'
import { BridgeError, errorText } from '../bridgeError.ts'
import type { Logger } from '../logger.ts'
import { createProblem, HttpProblem, problemType, refuse } from './problem.ts'
import { methodsAt, type ServedRoute } from './servedRoutes.ts'

/** Of an address that nothing is at, so many characters are said back. */
const shownCharacters = 100

/** Every failure of a request is answered with a problem document; what is the bridge's own fault goes to its log too. */
export function addErrorAnswers(app: FastifyInstance, routes: readonly ServedRoute[], logger: Logger): void {
  app.setNotFoundHandler((request, reply) => {
    const path = request.url.split('?')[0]
    const shown = path.slice(0, shownCharacters)
    const methods = methodsAt(routes, path)
    if (methods.length === 0) {
      answerProblem(reply, 404, 'not_found', `there is nothing at ${request.method} ${shown}`)
      return
    }
    reply.header('allow', methods.join(', '))
    const detail = `${request.method} is not possible at ${shown}, but ${methods.join(', ')}`
    answerProblem(reply, 405, 'wrong_method', detail)
  })
  app.setErrorHandler((error, _request, reply) => {
    if (answerError(error, reply) >= 500) logger.error(`request failed: ${errorText(error)}`)
  })
}

/** @returns the status that was answered */
export function answerError(error: unknown, reply: FastifyReply): number {
  const { status, code, detail } = explainError(error)
  answerProblem(reply, status, code, detail)
  return status
}

function answerProblem(reply: FastifyReply, status: number, code: string, detail: string): void {
  void reply
    .code(status)
    .type(problemType)
    .send(createProblem(status, code, detail))
}

/** What could not be read as a request at all: answered on the bare socket. */
export function answerBrokenRequest(error: { code?: string }, socket: Duplex): void {
  if (!socket.writable) return
  const isLong = error.code === 'HPE_HEADER_OVERFLOW'
  if (error.code === 'ERR_HTTP_REQUEST_TIMEOUT')
    refuse(socket, 408, 'too_slow', 'the request did not come to its end in time')
  else if (isLong) refuse(socket, 431, 'headers_too_large', 'address and headers together are too long')
  else refuse(socket, 400, 'no_request', 'this is no HTTP request')
}

/** Failures of the world that a caller can do something about, with their status. */
const bridgeStatus: Readonly<Partial<Record<BridgeError['code'], number>>> = {
  no_capture: 404,
  already_recording: 409,
  not_recording: 409,
  disk_full: 507,
}

function explainError(error: unknown): { status: number; code: string; detail: string } {
  if (error instanceof HttpProblem) return { status: error.status, code: error.code, detail: error.message }
  if (error instanceof BridgeError) {
    return { status: bridgeStatus[error.code] ?? 500, code: error.code, detail: error.message }
  }
  const issues = (error as { issues?: { path: PropertyKey[]; message: string }[] }).issues
  if (issues) {
    const first = issues[0]
    return { status: 400, code: 'invalid', detail: issueLine(first, 'body') }
  }
  if ((error as { code?: string }).code === 'FST_ERR_BAD_URL') {
    return { status: 400, code: 'bad_address', detail: 'the address holds a % that is no encoded character' }
  }
  const status = (error as { statusCode?: number }).statusCode ?? 500
  if (status < 500) return { status, code: 'bad_request', detail: errorText(error) }
  return { status: 500, code: 'failed', detail: 'the bridge could not do this; its log says why' }
}

/** Why the bridge could not listen, and what to do. */
export function explainListenProblem(error: unknown, host: string, port: number): Error {
  const code = (error as { code?: string }).code
  if (code === 'EADDRINUSE') {
    return new BridgeError(
      'address_in_use',
      `port ${port} is taken, perhaps by another floatbowl: close it, or start with --listen ${host}:${port + 1}`,
      { cause: error },
    )
  }
  if (code === 'EACCES' || code === 'EADDRNOTAVAIL') {
    return new BridgeError(
      'address_in_use',
      `cannot listen on ${host}:${port} (${errorText(error)}): choose another with --listen HOST:PORT`,
      { cause: error },
    )
  }
  return error instanceof Error ? error : new Error(String(error))
}
