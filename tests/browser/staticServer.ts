import { createReadStream, existsSync, statSync } from 'node:fs'
import { createServer, type Server } from 'node:http'
import { extname, join, normalize } from 'node:path'

/** The built dashboard: `FLOATBOWL_WEB_DIR` names another build than the usual one. */
export const webRoot = process.env.FLOATBOWL_WEB_DIR
  ? `${process.env.FLOATBOWL_WEB_DIR.replace(/\/$/, '')}/`
  : new URL('../../dist/web/', import.meta.url).pathname

const types: Readonly<Record<string, string>> = {
  '.html': 'text/html; charset=utf-8',
  '.js': 'text/javascript',
  '.css': 'text/css',
  '.json': 'application/json',
  '.svg': 'image/svg+xml',
  '.png': 'image/png',
  '.woff2': 'font/woff2',
  '.woff': 'font/woff',
  '.webmanifest': 'application/manifest+json',
}

/** The content policy under which the page must work; the bridge's own is at least as wide. */
export const contentPolicy =
  "default-src 'none'; script-src 'self'; style-src 'self'; font-src 'self'; img-src 'self' data: blob:; media-src 'self' blob:; connect-src 'self'; worker-src 'self'; manifest-src 'self'; base-uri 'none'; form-action 'none'"

/** Serves the built dashboard and hands everything under `/api/` to `api`. */
export function createStaticServer(
  api: (method: string, path: string, body: unknown) => { status: number; body?: unknown },
): Server {
  return createServer((request, response) => {
    const path = new URL(request.url ?? '/', 'http://x').pathname
    if (path.startsWith('/api/')) {
      let text = ''
      request.on('data', (chunk) => {
        text += String(chunk)
      })
      request.on('end', () => {
        const answer = api(request.method ?? 'GET', path, text ? JSON.parse(text) : undefined)
        response.writeHead(answer.status, { 'content-type': 'application/json' })
        response.end(answer.body === undefined ? '' : JSON.stringify(answer.body))
      })
      return
    }
    const file = join(webRoot, normalize(path === '/' ? '/index.html' : path))
    if (!file.startsWith(webRoot) || !existsSync(file) || !statSync(file).isFile()) {
      response.writeHead(404).end()
      return
    }
    response.writeHead(200, {
      'content-type': types[extname(file)] ?? 'application/octet-stream',
      'content-security-policy': contentPolicy,
      'cache-control': 'no-store',
    })
    createReadStream(file).pipe(response)
  })
}
