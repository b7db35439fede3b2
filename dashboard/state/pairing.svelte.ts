import type { PairedClient, PairingOffer, Status } from '../../core/contract/api.ts'
import { ApiError, api } from './runsApi.ts'

export type PairingState = 'loading' | 'ready' | 'error' | 'offline'
type Role = PairedClient['role']

/** Devices that were let in, and the one-time links that let more in. */
export class PairingDesk {
  #state = $state.raw<PairingState>('loading')
  #problem = $state.raw({ text: '', code: '' })
  #status = $state.raw<Status | undefined>(undefined)
  #clients = $state.raw<readonly PairedClient[]>([])
  #offer = $state.raw<PairingOffer | undefined>(undefined)
  #offerEndMs = $state.raw(0)
  #failure = $state.raw('')

  get state(): PairingState {
    return this.#state
  }
  get problem(): { text: string; code: string } {
    return this.#problem
  }
  get status(): Status | undefined {
    return this.#status
  }
  get clients(): readonly PairedClient[] {
    return this.#clients
  }
  get offer(): PairingOffer | undefined {
    return this.#offer
  }
  get failure(): string {
    return this.#failure
  }

  /** Whole seconds that the shown offer still holds, at the given page time. */
  secondsLeft(nowMs: number): number {
    return Math.max(0, Math.ceil((this.#offerEndMs - nowMs) / 1000))
  }

  async load(): Promise<void> {
    try {
      const status = await api<Status>('GET', '/api/status')
      this.#clients = status.role === 'controller' ? await api<PairedClient[]>('GET', '/api/clients') : []
      this.#status = status
      this.#state = 'ready'
    } catch (error) {
      const known = error instanceof ApiError ? error : new ApiError(-1, 'failed', String(error))
      this.#problem = { text: known.message, code: known.code }
      this.#state = known.status === 0 && this.#status ? 'offline' : 'error'
    }
  }

  async makeOffer(role: Role): Promise<void> {
    await this.#act(async () => {
      const offer = await api<PairingOffer>('POST', '/api/pairing', { role })
      this.#offer = offer
      this.#offerEndMs = performance.now() + offer.seconds * 1000
    })
  }
  closeOffer(): void {
    this.#offer = undefined
  }
  async rename(id: string, name: string): Promise<void> {
    await this.#act(() => api('PATCH', `/api/clients/${id}`, { name }))
  }
  async setRole(id: string, role: Role): Promise<void> {
    await this.#act(() => api('PATCH', `/api/clients/${id}`, { role }))
  }
  async revoke(id: string): Promise<void> {
    await this.#act(() => api('DELETE', `/api/clients/${id}`))
  }

  async #act(act: () => Promise<unknown>): Promise<void> {
    this.#failure = ''
    try {
      await act()
      await this.load()
    } catch (error) {
      this.#failure = (error as Error).message
    }
  }
}
