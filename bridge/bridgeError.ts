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
 * - `unreadable` a run or log cannot be read
 * - `nothing_fits` no line of a log fits its map
 * - `bad_map` a line map lacks what a file needs
 * - `exists` a run of that name is there already
 * - `cannot_write`, `bad_target` a file cannot be written, or must not be
 * - `no_such_channel`, `no_position`, `no_samples` a run lacks what an export asks for
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
  | 'unreadable'
  | 'nothing_fits'
  | 'bad_map'
  | 'exists'
  | 'cannot_write'
  | 'bad_target'
  | 'no_such_channel'
  | 'no_position'
  | 'no_samples'
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

/** What a failed file operation means for a person, by the system's code. */
const fileWords: Readonly<Record<string, string>> = Object.freeze({
  ENOENT: 'there is no such file',
  ENOTDIR: 'there is no such file: a part of the path is no directory',
  EISDIR: 'it is a directory, not a file',
  EACCES: 'it may not be opened: no permission',
  EPERM: 'it may not be opened: no permission',
  EROFS: 'it cannot be written: the disk is read-only',
  ENOSPC: 'the disk is full',
  EDQUOT: 'the disk is full: your share of it is used up',
  EMFILE: 'too many files are open',
  ENFILE: 'too many files are open',
  EIO: 'the disk reports an error',
  ENAMETOOLONG: 'the name is too long',
  ELOOP: 'the link leads round in a circle',
  Z_DATA_ERROR: 'it is damaged: the packed data cannot be unpacked',
  Z_BUF_ERROR: 'it breaks off: the packed data has no end',
})

/** What went wrong with a file, in words without the system's own; other errors say their text. */
export function problemText(error: unknown): string {
  const code = systemCode(error)
  return Object.hasOwn(fileWords, code) ? fileWords[code] : errorText(error)
}

/** Why a file cannot be read, in words: `runs/a.capture: there is no such file`. */
export function fileProblem(path: string, error: unknown): string {
  return `${path}: ${problemText(error)}`
}

/** Why a file cannot be written, in words. */
export function writeProblem(path: string, error: unknown): string {
  const isNowhere = systemCode(error) === 'ENOENT'
  return `${path} cannot be written: ${isNowhere ? 'there is no such directory' : problemText(error)}`
}

/** What to say at the end of a command that failed without a word of its own: the system tells of which file. */
export function lastWords(error: unknown): string {
  const { path } = error as { path?: unknown }
  return typeof path === 'string' ? fileProblem(path, error) : problemText(error)
}
