import type { Problem, RunSummary } from '../../core/contract/api.ts'
import type { Box, CarProfile, Fitted } from '../../core/contract/car.ts'

/** The bridge refused, or is not there (`status` 0). */
export class ApiError extends Error {
  readonly status: number
  readonly code: string
  constructor(status: number, code: string, text: string) {
    super(text)
    this.name = 'ApiError'
    this.status = status
    this.code = code
  }
}

/** What a car has fitted and what lies in its box. */
export interface CarParts {
  fitted: Fitted
  box: Box
}

/** One request to the bridge. @throws ApiError */
export async function api<T>(method: string, path: string, body?: unknown): Promise<T> {
  let answer: Response
  try {
    answer = await fetch(path, {
      method,
      cache: 'no-store',
      ...(body === undefined
        ? {}
        : { headers: { 'content-type': 'application/json' }, body: JSON.stringify(body) }),
    })
  } catch {
    throw new ApiError(0, 'offline', 'the bridge does not answer')
  }
  if (answer.ok) return (answer.status === 204 ? undefined : await answer.json()) as T
  const problem = (await answer.json().catch(() => undefined)) as Problem | undefined
  throw new ApiError(
    answer.status,
    problem?.code ?? 'bridge',
    problem?.detail ?? `the bridge answered ${answer.status}`,
  )
}

export const fetchRuns = () => api<RunSummary[]>('GET', '/api/runs')
export const fetchCars = () => api<CarProfile[]>('GET', '/api/cars')
export const fetchParts = (car: string) => api<CarParts>('GET', `/api/cars/${encodeURIComponent(car)}/parts`)

/** Address of a run's bytes from its id `car/session/file`. */
export const runBytesUrl = (id: string) =>
  `/api/runs/${id.split('/').map(encodeURIComponent).join('/')}/bytes`
