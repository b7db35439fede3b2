import { readdir, realpath } from 'node:fs/promises'
import { join } from 'node:path'

/** One serial device as the system lists it. */
export interface PortEntry {
  path: string
  /** What the system says of its maker and chip, as far as it does. */
  description: string
  vendorId?: string
  productId?: string
}

/**
 * Serial devices of this machine. Where the system's device service is missing the library's list fails; then the usual names in
 * `/dev` are read.
 */
export async function listPorts(): Promise<PortEntry[]> {
  const listed = (await listByLibrary()) ?? (await listByName())
  const real = listed.filter(({ path, vendorId }) => vendorId !== undefined || !/\/ttyS\d+$/.test(path))
  // On macOS the call-out name does not wait for a carrier: offer it, the list gives the other.
  return real.map((port) => ({ ...port, path: port.path.replace(/^\/dev\/tty\.(?=.)/, '/dev/cu.') }))
}

async function listByLibrary(): Promise<PortEntry[] | undefined> {
  try {
    const { SerialPort } = await import('serialport')
    return (await SerialPort.list()).map(({ path, manufacturer, vendorId, productId, pnpId }) => ({
      path,
      description: [manufacturer, pnpId].filter(Boolean).join(', '),
      vendorId,
      productId,
    }))
  } catch {
    // No native part, or no device service: the names in /dev remain.
    return undefined
  }
}

async function listByName(): Promise<PortEntry[]> {
  const byId = '/dev/serial/by-id'
  const ports = new Map<string, PortEntry>()
  for (const name of await readdir(byId).catch(() => [])) {
    const path = await realpath(join(byId, name)).catch(() => undefined)
    if (path) ports.set(path, { path, description: name })
  }
  for (const name of await readdir('/dev').catch(() => [])) {
    if (!/^(ttyUSB|ttyACM|cu\.|rfcomm)/.test(name)) continue
    const path = join('/dev', name)
    if (!ports.has(path)) ports.set(path, { path, description: '' })
  }
  return [...ports.values()].sort((a, b) => a.path.localeCompare(b.path))
}
