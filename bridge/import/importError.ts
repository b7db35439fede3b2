export type ImportErrorCode = 'unreadable' | 'nothing_fits' | 'exists' | 'bad_map' | 'cannot_write'

/** A log that cannot become a run, and why in words. */
export class ImportError extends Error {
  readonly code: ImportErrorCode

  constructor(code: ImportErrorCode, message: string, options?: ErrorOptions) {
    super(message, options)
    this.name = 'ImportError'
    this.code = code
  }
}
