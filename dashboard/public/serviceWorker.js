/*
 * Offline start: every built file is kept, by the list that the build writes; the start page is asked for first and taken from the store
 * when the bridge is away. Nothing under /api/ or /live is ever kept: readings and runs are the bridge's to give.
 */
/** A bridge that has not answered by now is away, ms: a network that swallows everything tells so only after minutes. */
const patienceMs = 3000
const listAddress = '/files.json'
const always = ['/', '/manifest.webmanifest', '/icon.svg', '/icon-192.png', '/icon-512.png']

async function fill() {
  const answer = await fetch(listAddress, { cache: 'no-store' })
  if (!answer.ok) throw new Error(`no file list: ${answer.status}`)
  const text = await answer.text()
  const name = await storeName(text)
  const store = await caches.open(name)
  const built = JSON.parse(text).map((file) => `/${file}`)
  await store.addAll([...always, ...built.filter((file) => file !== '/index.html')])
  return name
}

/** A name that changes with the built files. */
async function storeName(text) {
  const digest = await crypto.subtle.digest('SHA-256', new TextEncoder().encode(text))
  return `floatbowl-${[...new Uint8Array(digest, 0, 8)].map((byte) => byte.toString(16).padStart(2, '0')).join('')}`
}

self.addEventListener('install', (event) => {
  event.waitUntil(fill().then(() => self.skipWaiting()))
})

self.addEventListener('activate', (event) => {
  event.waitUntil(
    (async () => {
      const newest = (await caches.keys()).filter((name) => name.startsWith('floatbowl-'))
      // The store filled last is the one in use; older ones belong to earlier builds.
      for (const name of newest.slice(0, -1)) await caches.delete(name)
      await self.clients.claim()
    })(),
  )
})

async function startPage(request) {
  const asked = fetch(request)
  const late = new Promise((resolve) => setTimeout(resolve, patienceMs))
  const answer = await Promise.race([asked.catch(() => undefined), late])
  return answer ?? (await caches.match('/')) ?? asked
}

self.addEventListener('fetch', (event) => {
  const { request } = event
  const address = new URL(request.url)
  if (request.method !== 'GET' || address.origin !== location.origin) return
  if (address.pathname.startsWith('/api/') || address.pathname === '/live') return
  if (request.mode === 'navigate') {
    event.respondWith(startPage(request))
    return
  }
  event.respondWith(caches.match(address.pathname).then((kept) => kept ?? fetch(request)))
})
