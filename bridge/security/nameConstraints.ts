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
 */
export function encodeNameConstraints(names: readonly string[]): Uint8Array {
  const subtrees = [
    ...names.map((name) => element(dnsName, [...Buffer.from(name, 'ascii')])),
    ...privateNetworks.map((network) => element(ipAddress, network)),
  ].flatMap((base) => element(sequence, base))
  return Uint8Array.from(element(sequence, element(permittedSubtrees, subtrees)))
}
