export type ExportErrorCode = 'unreadable' | 'no_such_channel' | 'no_position' | 'no_samples' | 'bad_target'

/** A run that cannot be exported as asked, and why in words. */
export class ExportError extends Error {
  readonly code: ExportErrorCode

  constructor(code: ExportErrorCode, message: string, options?: ErrorOptions) {
    super(message, options)
    this.name = 'ExportError'
    this.code = code
  }
}
