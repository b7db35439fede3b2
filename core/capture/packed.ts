/** True when bytes begin as gzip's do (RFC 1952, 2.3.1); its first two bytes tell. */
export function isPacked(head: Uint8Array): boolean {
  return head[0] === 0x1f && head[1] === 0x8b
}
