import type { RequestListener } from 'node:http'
import { inlinePagePolicy } from '../security/headers.ts'
import { isLanName, isLoopbackAddress, isLoopbackName, parseHost } from '../security/hosts.ts'

const style = `
:root { color-scheme: light dark; --ground: light-dark(#fff, #0e1116); --ink: light-dark(#14171c, #f2efe6) }
body { margin: 0 auto; max-width: 40rem; padding: 2rem; background: var(--ground); color: var(--ink); font: 1.125rem/1.6 system-ui, sans-serif }
a { color: inherit; font-weight: 700 }
.button { display: inline-block; border: 2px solid var(--ink); border-radius: .5rem; padding: .75rem 1.25rem; text-decoration: none }
li { margin-block: .5rem }
:focus-visible { outline: 3px solid var(--ink); outline-offset: 3px }
`

const page = (secureUrl: string) => `<!doctype html>
<html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width"><title>Trust this bridge</title>
<style>${style}</style></head>
<body><h1>Trust this bridge</h1>
<p>The bridge is started with <code>--https</code>. Your device must trust its certificate once; then the screen can stay on by itself and the page can be installed. The certificate is good for this machine and private networks only.</p>
<p><a class="button" href="/floatbowl-authority.crt">Get the certificate</a></p>
<h2>iPad and iPhone</h2>
<ol>
<li>Open this page in Safari, tap the button, and allow the download of the profile.</li>
<li>Settings, <em>Profile Downloaded</em> (or General, VPN &amp; Device Management): install it.</li>
<li>Settings, General, About, <em>Certificate Trust Settings</em>: switch on full trust for <em>floatbowl on …</em>. Without this step the page loads and the live numbers do not.</li>
</ol>
<h2>Android</h2>
<ol>
<li>Tap the button and keep the file.</li>
<li>Settings, Security, <em>Encryption &amp; credentials</em>, <em>Install a certificate</em>, <em>CA certificate</em>: choose the file. The words differ a little between makers; search the settings for “certificate”.</li>
</ol>
<h2>Then</h2>
<p>Scan the pairing code again, or open <a href="${secureUrl}">${secureUrl}</a>. Tapping through a warning in place of these steps does not work for the live numbers.</p>
<p>To undo it later, remove the profile or certificate in the same place of the settings.</p>
</body></html>
`

/**
 * What plain http gets on a bridge that is started with https: the owner on the machine itself everything, others the page that tells how
 * to trust it and the authority's certificate, both of which hold no data.
 */
export function createPlainHandler(options: {
  owner: RequestListener
  authorityPem: string
}): RequestListener {
  return (request, response) => {
    const host = parseHost(request.headers.host)
    const isOwner = host && isLoopbackName(host.name) && isLoopbackAddress(request.socket.remoteAddress)
    if (isOwner) return options.owner(request, response)
    response.setHeader('content-security-policy', inlinePagePolicy())
    response.setHeader('x-content-type-options', 'nosniff')
    response.setHeader('cache-control', 'no-store')
    if (!host || !isLanName(host.name)) {
      response.writeHead(403, { 'content-type': 'text/plain' }).end('not a name of this bridge\n')
    } else if (request.method !== 'GET') {
      response.writeHead(403, { 'content-type': 'text/plain' }).end('only over https\n')
    } else if (request.url === '/floatbowl-authority.crt') {
      response.writeHead(200, { 'content-type': 'application/x-x509-ca-cert' }).end(options.authorityPem)
    } else {
      const url = `https://${request.headers.host}/`
      response.writeHead(403, { 'content-type': 'text/html; charset=utf-8' }).end(page(url))
    }
  }
}
