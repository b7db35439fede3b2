import type { IncomingHttpHeaders } from 'node:http'
import type { ClientStore, Role } from './clientStore.ts'
import { isLanName, isLoopbackAddress, isLoopbackName, parseHost } from './hosts.ts'

/** Name of the cookie that pairing sets. */
export const cookieName = 'floatbowl'

/** What is known of a request before its body is read. */
export interface Caller {
  remoteAddress: string | undefined
  headers: IncomingHttpHeaders
  encrypted: boolean
}

export interface Granted {
  ok: true
  role: Role
  /** True when the page runs on the bridge's own machine under a loopback name. */
  loopback: boolean
  clientId?: string
}

export interface Refused {
  ok: false
  status: 400 | 401 | 403
  code: 'bad_host' | 'foreign_host' | 'foreign_origin' | 'not_paired' | 'not_encrypted'
  detail: string
}

export interface AccessOptions {
  lan: boolean
  clients: ClientStore
  nowMs: () => number
  /** True when the network may only come in encrypted. Default false. */
  onlyEncrypted?: boolean
}

/**
 * Who may come in. `Host` must name this machine (else another site's name was re-pointed at it), `Origin` must be our own page, and a
 * caller from the network must hold a paired client's cookie. Only a loopback address under a loopback name is the owner without it.
 */
export function createAccess({ lan, clients, nowMs, onlyEncrypted = false }: AccessOptions): {
  judge(caller: Caller): Granted | Refused
} {
  return {
    judge({ remoteAddress, headers, encrypted }) {
      const host = parseHost(headers.host)
      if (!host) return refuse(400, 'bad_host', 'the Host header is missing or malformed')
      const isLocalName = isLoopbackName(host.name)
      if (!isLocalName && !(lan && isLanName(host.name))) {
        return refuse(403, 'foreign_host', 'this name is not one of the bridge: open it by its address')
      }
      if (!isOwnOrigin(headers, encrypted)) {
        return refuse(403, 'foreign_origin', 'the request comes from another site')
      }
      const loopback = isLocalName && isLoopbackAddress(remoteAddress)
      if (loopback) return { ok: true, role: 'controller', loopback }
      if (onlyEncrypted && !encrypted) return refuse(403, 'not_encrypted', 'only over https')
      // Without --lan nothing but loopback listens; this stands against a forwarded port.
      const client = lan ? clients.find(readCookie(headers.cookie, cookieName), nowMs()) : undefined
      if (!client) return refuse(401, 'not_paired', 'this device is not paired: scan the pairing code')
      return { ok: true, role: client.role, loopback, clientId: client.id }
    },
  }
}

function refuse(status: Refused['status'], code: Refused['code'], detail: string): Refused {
  return { ok: false, status, code, detail }
}

/** `Origin`, when a browser sends it, must be the very address of the request; so must `Sec-Fetch-Site` say. */
function isOwnOrigin(headers: IncomingHttpHeaders, encrypted: boolean): boolean {
  const { origin } = headers
  if (origin !== undefined) {
    return origin.toLowerCase() === `${encrypted ? 'https' : 'http'}://${headers.host?.toLowerCase()}`
  }
  const site = headers['sec-fetch-site']
  if (site === undefined || site === 'same-origin' || site === 'none') return true
  // A link or a scanned code on another page may open ours at the top of a tab; it can neither read nor send anything.
  return headers['sec-fetch-mode'] === 'navigate' && headers['sec-fetch-dest'] === 'document'
}

/** Value of one cookie of a `Cookie` header. */
export function readCookie(header: string | undefined, name: string): string | undefined {
  for (const piece of (header ?? '').split(';')) {
    const cut = piece.indexOf('=')
    if (cut > 0 && piece.slice(0, cut).trim() === name) return piece.slice(cut + 1).trim()
  }
  return undefined
}
