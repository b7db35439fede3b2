import { spawnSync } from 'node:child_process'
import { closeSync, constants, openSync } from 'node:fs'
import tty from 'node:tty'

// Two ioctls on an inherited descriptor: unlock the slave (TIOCSPTLCK), tell its number (TIOCGPTN). Perl is in Debian's base system.
const unlockAndNumber =
  'open(my $f,"+<&=",3) or die $!; my $z=pack("i",0); ioctl($f,0x40045431,$z) or die $!; my $n=pack("i",0); ioctl($f,0x80045430,$n) or die $!; print unpack("i",$n)'

/** A real pseudo-terminal (Linux): `path` is what a serial library opens, `master` the board's end of the wire. */
export interface Pty {
  readonly path: string
  readonly master: tty.ReadStream
  /** Pulls the cable. */
  hangUp(): void
}

export function openPty(): Pty {
  const flags = constants.O_RDWR | constants.O_NOCTTY
  const fd = openSync('/dev/ptmx', flags)
  const asked = spawnSync('perl', ['-e', unlockAndNumber], {
    stdio: ['ignore', 'pipe', 'pipe', fd],
    encoding: 'utf8',
  })
  if (asked.status !== 0) {
    closeSync(fd)
    throw new Error(`no pseudo-terminal: ${asked.stderr}`)
  }
  const path = `/dev/pts/${asked.stdout}`
  // A second handle on the slave: without it the master dies when the reader closes, and cannot be opened again.
  const keep = openSync(path, flags)
  const master = new tty.ReadStream(fd)
  // A reader that goes away is no error of the board's.
  master.on('error', () => {})
  return {
    path,
    master,
    hangUp() {
      closeSync(keep)
      master.destroy()
    },
  }
}

/** One on which nobody listens to what the reader writes. */
export function openDeafPty(): Pty {
  const pty = openPty()
  pty.master.resume()
  return pty
}
