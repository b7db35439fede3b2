import { createInterface } from 'node:readline'
import { createPairingOffer } from '../http/routes/clientRoutes.ts'
import type { RouteContext } from '../http/routes/routeContext.ts'

/**
 * Shows how to pair a tablet: on a terminal only, since a service's output ends in a log, which must hold no secret. A key press makes a
 * new link.
 */
export async function showPairing(context: RouteContext, say: (text: string) => void): Promise<void> {
  if (!process.stderr.isTTY) {
    say('to pair a tablet open the page on this machine as localhost, page Connect')
    return
  }
  await showOffer(context, say)
  if (!process.stdin.isTTY) return
  say('press Enter for a new link')
  const keys = createInterface({ input: process.stdin, terminal: false })
  keys.on('line', () => {
    showOffer(context, say).catch((error: unknown) => say(String(error)))
  })
  process.stdin.unref()
}

async function showOffer(context: RouteContext, say: (text: string) => void): Promise<void> {
  const { default: qrcode } = await import('qrcode')
  const { links, code, seconds } = await createPairingOffer(context, 'controller')
  if (links.length === 0) {
    say('no network is up yet: join one, or switch the hotspot on, then press Enter')
    return
  }
  for (const { interfaceName, url } of links) {
    say(`\npair a tablet on ${interfaceName}: scan, or open ${url.split('#')[0]} and type ${code}`)
    say(await qrcode.toString(url, { type: 'terminal', small: true, margin: 4 }))
  }
  say(
    `each works once, for ${Math.round(seconds / 60)} minutes; stay connected even if the network has no internet`,
  )
}
