import { spawnSync } from 'node:child_process'
import { closeSync, constants, openSync, writeSync } from 'node:fs'
import tty from 'node:tty'

/** Unlocks the other end of a fresh pseudo-terminal (TIOCSPTLCK) and tells its number (TIOCGPTN), on inherited descriptor 3. */
const unlockAndNumber =
  'open(my $f,"+<&=",3) or die $!; my $z=pack("i",0); ioctl($f,0x40045431,$z) or die $!; my $n=pack("i",0); ioctl($f,0x80045430,$n) or die $!; print unpack("i",$n)'

/** The board's end of a pseudo-terminal; `path` is what a serial reader opens. */
export interface BoardPty {
  readonly path: string
  readonly master: tty.ReadStream
  /** Writes as much as the wire has room for, without waiting. @returns the bytes taken */
  write(bytes: Uint8Array): number
  close(): void
}

/**
 * Opens a pseudo-terminal (Linux; needs perl for two ioctls, which every Debian has).
 * @throws Error with the reason where there is none
 */
export function openBoardPty(): BoardPty {
  const flags = constants.O_RDWR | constants.O_NOCTTY
  let fd: number
  try {
    // Never waiting: a wire that nobody reads fills up, and would hold the whole process.
    fd = openSync('/dev/ptmx', flags | constants.O_NONBLOCK)
  } catch (cause) {
    throw new Error('no pseudo-terminal on this system (use --tcp instead)', { cause })
  }
  const asked = spawnSync('perl', ['-e', unlockAndNumber], {
    stdio: ['ignore', 'pipe', 'pipe', fd],
    encoding: 'utf8',
  })
  if (asked.status !== 0) {
    closeSync(fd)
    throw new Error(`no pseudo-terminal: ${asked.error?.message ?? asked.stderr} (use --tcp instead)`)
  }
  const path = `/dev/pts/${asked.stdout}`
  // A handle of our own on the reader's end: without it the wire dies with the first reader and cannot be opened again.
  const keep = openSync(path, flags)
  const master = new tty.ReadStream(fd)
  // Raw: without it the terminal would echo the board's lines back and turn line ends into two bytes.
  const reader = new tty.ReadStream(openSync(path, flags))
  reader.setRawMode(true)
  reader.destroy()
  return {
    path,
    master,
    write(bytes) {
      try {
        return writeSync(fd, bytes)
      } catch (error) {
        if ((error as NodeJS.ErrnoException).code === 'EAGAIN') return 0
        throw error
      }
    },
    close() {
      closeSync(keep)
      master.destroy()
    },
  }
}
