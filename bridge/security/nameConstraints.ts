/** Object identifier of the name constraints extension (RFC 5280, 4.2.1.10). */
export const nameConstraintsOid = '2.5.29.30'

/** Addresses a private network can have (RFC 1918), link-local (RFC 3927) and loopback, as address and mask. */
const privateNetworks = [
  [10, 0, 0, 0, 255, 0, 0, 0],
  [172, 16, 0, 0, 255, 240, 0, 0],
  [192, 168, 0, 0, 255, 255, 0, 0],
  [169, 254, 0, 0, 255, 255, 0, 0],
  [127, 0, 0, 0, 255, 0, 0, 0],
] as const

/** Tags of DER (X.690): a sequence, and the context tags of RFC 5280's GeneralName and NameConstraints. */
const sequence = 0x30
const dnsName = 0x82
const ipAddress = 0x87
const permittedSubtrees = 0xa0

function element(tag: number, content: readonly number[]): number[] {
  const { length } = content
  if (length < 128) return [tag, length, ...content]
  if (length < 256) return [tag, 0x81, length, ...content]
  return [tag, 0x82, length >> 8, length & 255, ...content]
}

/**
 * DER of the constraints for a certificate authority that may only vouch for this machine's names and for private addresses: whoever
 * steals its key cannot pose as any site on the internet.
 * @param names permitted DNS names with everything below them
 * @param addresses permitted single IPv4 addresses beside the private ones
 */
export function encodeNameConstraints(
  names: readonly string[],
  addresses: readonly string[],
): Uint8Array<ArrayBuffer> {
  const subtrees = [
    ...names.map((name) => element(dnsName, [...Buffer.from(name, 'ascii')])),
    ...privateNetworks.map((network) => element(ipAddress, network)),
    ...addresses.map((address) => element(ipAddress, [...bytesOf(address), 255, 255, 255, 255])),
  ].flatMap((base) => element(sequence, base))
  return Uint8Array.from(element(sequence, element(permittedSubtrees, subtrees)))
}

const bytesOf = (address: string) => address.split('.').map(Number)

/** What a certificate of an authority with these constraints may name. A name outside would make all of it worthless. */
export function readNameConstraints(der: Uint8Array): {
  permitsName(name: string): boolean
  permitsAddress(address: string): boolean
} {
  const names: string[] = []
  const networks: Uint8Array[] = []
  const walk = (start: number, end: number) => {
    for (let at = start; at < end; ) {
      const tag = der[at]
      const longBytes = der[at + 1] > 0x80 ? der[at + 1] - 0x80 : 0
      let length = longBytes > 0 ? 0 : der[at + 1]
      for (let i = 0; i < longBytes; i++) length = length * 256 + der[at + 2 + i]
      const from = at + 2 + longBytes
      if (tag === dnsName) names.push(Buffer.from(der.subarray(from, from + length)).toString('ascii'))
      else if (tag === ipAddress && length === 8) networks.push(der.subarray(from, from + 8))
      else if (tag === sequence || tag === permittedSubtrees) walk(from, from + length)
      at = from + length
    }
  }
  walk(0, der.length)
  return {
    permitsName: (name) => names.some((permitted) => name === permitted || name.endsWith(`.${permitted}`)),
    permitsAddress: (address) => {
      const bytes = bytesOf(address)
      return networks.some((network) => bytes.every((byte, i) => (byte & network[4 + i]) === network[i]))
    },
  }
}
