/**
 * Headers of every answer. Nothing is loaded from outside, nothing inline runs, no other page may frame or read ours.
 * @param host the request's own host, checked before: older Safari does not count `ws:` as `'self'`
 * @param isSecure true on loopback and over https, where the isolation header is understood
 */
export function securityHeaders(host: string, isSecure: boolean): Record<string, string> {
  return {
    'content-security-policy': [
      "default-src 'none'",
      "script-src 'self'",
      "style-src 'self'",
      "worker-src 'self' blob:",
      "img-src 'self' data: blob:",
      "media-src 'self' data: blob:",
      "font-src 'self'",
      "manifest-src 'self'",
      `connect-src 'self' ws://${host} wss://${host}`,
      "frame-src 'self'",
      "frame-ancestors 'none'",
      "base-uri 'none'",
      "form-action 'none'",
    ].join('; '),
    'x-content-type-options': 'nosniff',
    'x-frame-options': 'DENY',
    'referrer-policy': 'no-referrer',
    'cross-origin-resource-policy': 'same-origin',
    'permissions-policy':
      'camera=(), microphone=(), geolocation=(), payment=(), usb=(), serial=(), screen-wake-lock=(self), fullscreen=(self), autoplay=(self)',
    ...(isSecure && { 'cross-origin-opener-policy': 'same-origin' }),
  }
}

/** The printable sheet and the pairing page carry their own style inside, the former its typeface, the latter its script. */
export function inlinePagePolicy(scriptHash?: string): string {
  const script = scriptHash ? `script-src '${scriptHash}'; connect-src 'self'; ` : ''
  return `default-src 'none'; ${script}style-src 'unsafe-inline'; img-src data:; font-src data:; frame-ancestors 'none'; base-uri 'none'; form-action 'none'`
}
