import { BridgeError, errorText, systemCode } from '../bridgeError.ts'

/** What the explanation may ask of the machine; all optional, so that tests can say what the machine looks like. */
export interface PortFacts {
  platform: NodeJS.Platform
  /** Group that owns the device file, e.g. `dialout`. */
  group?: string
  userName?: string
}

const permission = /permission denied|EACCES|EPERM|operation not permitted/i
const busy = /lock port|resource busy|EBUSY|temporarily unavailable|EAGAIN|access denied|Error code 5\b/i
const missing = /no such file|ENOENT|ENXIO|ENODEV|no such device|file not found|cannot find/i
const noNative = /no native build|bindings|Cannot find module|ERR_MODULE_NOT_FOUND|dlopen/i

/**
 * Turns the failure to open a serial device into a message that names the cause and what to do.
 * @param cause what the serial library reported
 */
export function explainPortProblem(path: string, cause: unknown, facts: PortFacts): BridgeError {
  const text = errorText(cause)
  const code = systemCode(cause)
  if (permission.test(text) || code === 'EACCES') {
    return new BridgeError('port_permission', permissionText(path, facts), { cause })
  }
  if (busy.test(text)) {
    const windows = facts.platform === 'win32'
    return new BridgeError(
      'port_busy',
      `${path} is held by another program: close ${
        windows ? 'any terminal or serial monitor and other copies of floatbowl' : 'it'
      }${windows ? '' : ` (\`fuser ${path}\` names it; after plugging in, a modem or Braille service may hold it for some seconds)`}; trying again`,
      { cause },
    )
  }
  if (missing.test(text) || code === 'ENOENT') {
    return new BridgeError(
      'port_missing',
      `${path} is not there: plug the board in, or see \`floatbowl ports\` for the right name; waiting for it`,
      { cause },
    )
  }
  if (noNative.test(text)) {
    return new BridgeError(
      'no_native_part',
      `the serial library has no build for this machine: run \`npm ci\` on it, or use \`--port tcp://host:port\`; the simulator and replay need no serial library`,
      { cause },
    )
  }
  return new BridgeError('port_failed', `${path}: ${text}; trying again`, { cause })
}

function permissionText(path: string, { platform, group, userName }: PortFacts): string {
  if (platform === 'win32') {
    return `${path} may not be opened: another program or an old copy of floatbowl holds it; close it`
  }
  const owner = group && group !== 'root' ? group : 'dialout'
  return `no permission for ${path}: it belongs to the group ${owner}. Run \`sudo usermod -aG ${owner} ${
    userName ?? '$USER'
  }\`, then log out and in again (restart the machine if that is not enough)`
}
