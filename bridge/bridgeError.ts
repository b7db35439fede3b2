/**
 * What can go wrong outside our own code, each with a message that says what to do.
 *
 * - `port_permission` the serial device may not be opened by this user
 * - `port_missing` no such device or address
 * - `port_busy` another program holds the device
 * - `port_failed` any other failure of a port
 * - `no_native_part` the serial library has no build for this machine
 * - `address_in_use` the web address is taken
 * - `disk_full` no space left for the recording
 * - `disk_failed` any other failure of the disk
 * - `disk_slow` the disk takes longer than the data come
 * - `no_capture` a file is no capture file
 * - `bad_file` a JSON file of the data directory cannot be read
 * - `not_recording`, `already_recording` the recorder is in the other state
 */
export type BridgeErrorCode =
  | 'port_permission'
  | 'port_missing'
  | 'port_busy'
  | 'port_failed'
  | 'no_native_part'
  | 'address_in_use'
  | 'disk_full'
  | 'disk_failed'
  | 'disk_slow'
  | 'no_capture'
  | 'bad_file'
  | 'not_recording'
  | 'already_recording'

/** A fault of the world (port gone, disk full, bad file), not of the caller. */
export class BridgeError extends Error {
  readonly code: BridgeErrorCode

  constructor(code: BridgeErrorCode, message: string, options?: { cause?: unknown }) {
    super(message, options)
    this.name = 'BridgeError'
    this.code = code
  }
}

/** Text of anything thrown. */
export function errorText(error: unknown): string {
  return error instanceof Error ? error.message : String(error)
}

/** System error code such as `ENOENT`, or an empty string. */
export function systemCode(error: unknown): string {
  const code = (error as { code?: unknown } | null)?.code
  return typeof code === 'string' ? code : ''
}
