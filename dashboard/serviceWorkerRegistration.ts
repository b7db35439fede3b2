/** Offline start, where the browser allows it: secure contexts only. Without it the page works as long as the bridge does. */
export function registerServiceWorker(): void {
  if (!isSecureContext || !('serviceWorker' in navigator) || import.meta.env.DEV) return
  navigator.serviceWorker.register('/serviceWorker.js').catch(() => {
    // A refused certificate or a private window: the page goes on without an offline start.
  })
}
