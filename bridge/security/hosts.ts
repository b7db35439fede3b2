import { hostname, networkInterfaces } from 'node:os'

/** An address of this machine that a tablet could reach. */
export interface LanAddress {
  /** Name of the interface, e.g. `wlan0`. */
  interfaceName: string
  address: string
}

/** The machine's IPv4 addresses, one or more an interface. A QR code holds an address, never only a name: `.local` names fail on many tablets. */
export function listLanAddresses(): LanAddress[] {
  return Object.entries(networkInterfaces()).flatMap(([interfaceName, entries]) =>
    (entries ?? [])
      .filter((entry) => entry.family === 'IPv4' && !entry.internal)
      .map((entry) => ({ interfaceName, address: entry.address })),
  )
}

/** True for the machine's own loopback addresses, also when written as IPv6. */
export function isLoopbackAddress(address: string | undefined): boolean {
  if (!address) return false
  const plain = address.replace(/^::ffff:/, '')
  return plain === '::1' || /^127(\.\d{1,3}){3}$/.test(plain)
}

/** Takes `name:port` apart as a browser writes it; undefined when it is no host. */
export function parseHost(host: string | undefined): { name: string; port: number | undefined } | undefined {
  const match = /^(\[[0-9a-f:.]+\]|[a-z0-9._-]+)(?::(\d{1,5}))?$/i.exec(host ?? '')
  if (!match) return undefined
  return { name: match[1].toLowerCase().replace(/\.$/, ''), port: match[2] ? Number(match[2]) : undefined }
}

/** Names that only ever mean this machine: `*.localhost` is resolved to loopback by browsers. */
export function isLoopbackName(name: string): boolean {
  return name === 'localhost' || name.endsWith('.localhost') || name === '[::1]' || isLoopbackAddress(name)
}

/** Names under which other machines may reach this one, asked anew each time: a tablet's hotspot may come up later. */
export function isLanName(name: string): boolean {
  const own = hostname().toLowerCase()
  if (name === own || name === `${own}.local`) return true
  return listLanAddresses().some(({ address }) => address === name)
}
