import { createHash, randomBytes, timingSafeEqual } from 'node:crypto'
import { chmod, mkdir } from 'node:fs/promises'
import { join } from 'node:path'
import * as z from 'zod'
import type { PairedClient } from '../../core/contract/api.ts'
import { createJsonFile, type JsonFile } from '../store/jsonFile.ts'

export type Role = 'viewer' | 'controller'

/** Most paired clients: pairing a further one drops the one not seen for longest. */
const mostClients = 64

const clientSchema = z.object({
  id: z.string().regex(/^[0-9a-f]{16}$/),
  /** SHA-256 of the secret in the client's cookie; the secret itself is kept nowhere. */
  secretHash: z.string().regex(/^[0-9a-f]{64}$/),
  name: z.string().max(60),
  role: z.enum(['viewer', 'controller']),
  pairedAt: z.string(),
})
type Client = z.infer<typeof clientSchema>

const hash = (secret: string) => createHash('sha256').update(secret).digest()

/** The paired clients, in a file that only its owner can read. */
export class ClientStore {
  readonly #file: JsonFile<Client[]>
  readonly #directory: string
  readonly #clients = new Map<string, Client>()
  readonly #seenMs = new Map<string, number>()

  constructor(dataDir: string) {
    this.#directory = join(dataDir, '.bridge')
    this.#file = createJsonFile({
      path: join(this.#directory, 'clients.json'),
      schema: z.array(clientSchema),
      empty: () => [],
      mode: 0o600,
    })
  }

  async load(): Promise<void> {
    await mkdir(this.#directory, { recursive: true, mode: 0o700 })
    await chmod(this.#directory, 0o700)
    for (const client of await this.#file.read()) this.#clients.set(client.id, client)
  }

  /** Adds a client; the answer is the cookie's value, told once. */
  async add(name: string, role: Role, nowMs: number): Promise<{ id: string; cookie: string }> {
    const id = randomBytes(8).toString('hex')
    const secret = randomBytes(32).toString('base64url')
    this.#clients.set(id, {
      id,
      secretHash: hash(secret).toString('hex'),
      name,
      role,
      pairedAt: new Date(nowMs).toISOString(),
    })
    this.#seenMs.set(id, nowMs)
    if (this.#clients.size > mostClients) this.#clients.delete(this.#longestUnseen(id))
    await this.#save()
    return { id, cookie: `${id}.${secret}` }
  }

  /** Who holds this cookie; undefined for an unknown, revoked or forged one. */
  find(cookie: string | undefined, nowMs: number): { id: string; role: Role } | undefined {
    const match = /^([0-9a-f]{16})\.([A-Za-z0-9_-]{43})$/.exec(cookie ?? '')
    if (!match) return undefined
    const client = this.#clients.get(match[1])
    if (!client || !timingSafeEqual(hash(match[2]), Buffer.from(client.secretHash, 'hex'))) return undefined
    this.#seenMs.set(client.id, nowMs)
    return { id: client.id, role: client.role }
  }

  list(): PairedClient[] {
    return [...this.#clients.values()].map(({ id, name, role, pairedAt }) => {
      const seenMs = this.#seenMs.get(id)
      return { id, name, role, pairedAt, ...(seenMs && { lastSeen: new Date(seenMs).toISOString() }) }
    })
  }

  /** Changes name or role; false when there is no such client. */
  async change(id: string, change: { name?: string; role?: Role }): Promise<boolean> {
    const client = this.#clients.get(id)
    if (!client) return false
    this.#clients.set(id, { ...client, ...change })
    await this.#save()
    return true
  }

  /** Takes the right of entry away; false when there is no such client. */
  async revoke(id: string): Promise<boolean> {
    if (!this.#clients.delete(id)) return false
    this.#seenMs.delete(id)
    await this.#save()
    return true
  }

  #longestUnseen(except: string): string {
    let oldest = ''
    let oldestMs = Number.POSITIVE_INFINITY
    for (const id of this.#clients.keys()) {
      const seenMs = this.#seenMs.get(id) ?? 0
      if (id !== except && seenMs < oldestMs) {
        oldest = id
        oldestMs = seenMs
      }
    }
    return oldest
  }

  #save(): Promise<void> {
    return this.#file.update((content) => {
      content.splice(0, content.length, ...this.#clients.values())
    })
  }
}
