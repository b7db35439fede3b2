/**
 * A file that cannot be read as a capture at all.
 * `empty`: no byte in it; `not_a_capture`: it starts with something else; `newer_version`: made by a newer version.
 */
export type CaptureErrorCode = 'empty' | 'not_a_capture' | 'newer_version'

export class CaptureError extends Error {
  readonly code: CaptureErrorCode

  constructor(code: CaptureErrorCode, message: string) {
    super(message)
    this.name = 'CaptureError'
    this.code = code
  }
}
