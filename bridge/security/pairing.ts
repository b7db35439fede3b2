import { createHash, randomBytes, randomInt, timingSafeEqual } from 'node:crypto'
import type { Role } from './clientStore.ts'
import { createRateLimit } from './rateLimit.ts'

export interface PairingOptions {
  /** A link and its code live so long, ms. Default 15 minutes. */
  lifeMs?: number
  /** Tries of a code a minute, from all addresses together. Default 5. */
  codeTriesPerMinute?: number
  nowMs?: () => number
}

export const defaultPairing = Object.freeze({ lifeMs: 15 * 60_000, codeTriesPerMinute: 5 })

/** A code is void after so many wrong tries, whoever made them. */
const mostWrongTries = 20

interface Offer {
  tokenHash: Buffer
  code: string
  role: Role
  untilMs: number
  wrongTries: number
}

const hash = (text: string) => createHash('sha256').update(text).digest()

/** One-time links and codes, at most one at a time: a new offer voids the old one. */
export class Pairing {
  readonly #options: Required<PairingOptions>
  readonly #codeLimit: ReturnType<typeof createRateLimit>
  #offer: Offer | undefined

  constructor(options: PairingOptions = {}) {
    this.#options = { ...defaultPairing, nowMs: () => performance.now(), ...options }
    this.#codeLimit = createRateLimit({
      calls: this.#options.codeTriesPerMinute,
      periodMs: 60_000,
      nowMs: this.#options.nowMs,
    })
  }

  /** Makes a new link token (192 random bits) and a 6-digit code for typing. */
  offer(role: Role): { token: string; code: string; lifeMs: number } {
    const token = randomBytes(24).toString('base64url')
    const code = String(randomInt(1_000_000)).padStart(6, '0')
    const { lifeMs, nowMs } = this.#options
    this.#offer = { tokenHash: hash(token), code, role, untilMs: nowMs() + lifeMs, wrongTries: 0 }
    return { token, code, lifeMs }
  }

  /** Uses up the offer: the role it gives, or why not. */
  take(proof: { token?: string; code?: string }): Role | 'wrong' | 'too_many' {
    if (proof.token === undefined && !this.#codeLimit.take('all')) return 'too_many'
    const offer = this.#offer
    if (!offer || this.#options.nowMs() > offer.untilMs) return 'wrong'
    const right =
      proof.token !== undefined
        ? timingSafeEqual(hash(proof.token), offer.tokenHash)
        : timingSafeEqual(hash(proof.code ?? ''), hash(offer.code))
    if (right) {
      this.#offer = undefined
      return offer.role
    }
    if (proof.token === undefined && ++offer.wrongTries >= mostWrongTries) this.#offer = undefined
    return 'wrong'
  }
}
