import { createHash } from 'node:crypto'
import { inlinePagePolicy } from '../security/headers.ts'

/** Where the links of a pairing offer lead. There the page is what was asked for; in place of any other it comes as a refusal. */
export const pairingPath = '/pair'

/** Reads the token behind the `#` of a scanned link (which never travels in a request), or takes the six digits. */
const script = `
const form = document.querySelector('form')
const say = document.querySelector('output')
const pair = async (proof) => {
  say.textContent = 'Pairing…'
  try {
    const answer = await fetch('/api/pair', { method: 'POST', headers: { 'content-type': 'application/json' }, body: JSON.stringify(proof) })
    if (answer.ok) return location.replace('/')
    say.textContent = (await answer.json()).detail
  } catch {
    say.textContent = 'The bridge does not answer. Is the tablet on the same network?'
  }
}
const token = new URLSearchParams(location.hash.slice(1)).get('pair')
if (token) {
  history.replaceState(null, '', '/')
  pair({ token })
}
form.addEventListener('submit', (event) => {
  event.preventDefault()
  pair({ code: new FormData(form).get('code') })
})
`

const style = `
:root { color-scheme: light dark; --ground: light-dark(#fff, #0e1116); --ink: light-dark(#14171c, #f2efe6) }
body { margin: 0; min-height: 100vh; display: grid; place-content: center; gap: 1.5rem; padding: 2rem; background: var(--ground); color: var(--ink); font: 1.25rem/1.5 system-ui, sans-serif; max-width: 36rem; margin-inline: auto }
h1 { font-size: 1.75rem; margin: 0 }
form { display: flex; flex-wrap: wrap; gap: 1rem; align-items: end }
label { display: grid; gap: .5rem }
input, button { font: inherit; min-height: 3.5rem; padding: 0 1rem; border: 2px solid var(--ink); border-radius: .5rem; background: transparent; color: inherit }
input { width: 9ch; letter-spacing: .15em; font-variant-numeric: tabular-nums }
button { font-weight: 700; min-width: 8rem }
:focus-visible { outline: 3px solid var(--ink); outline-offset: 3px }
output { min-height: 3em }
`

/** What a device that is not paired gets in place of every page: no data, no dashboard. */
export const pairingPage = `<!doctype html>
<html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width"><link rel="icon" href="data:,"><title>Pair this device</title>
<style>${style}</style></head>
<body><h1>Pair this device</h1>
<p>Scan the code that the bridge shows in its terminal or on its own page under Set-up, or type the six digits beside it.</p>
<form><label>Six digits<input name="code" inputmode="numeric" pattern="[0-9]{6}" maxlength="6" autocomplete="one-time-code" required></label><button>Pair</button></form>
<output aria-live="polite"></output>
<script>${script}</script></body></html>
`

export const pairingPagePolicy = inlinePagePolicy(
  `sha256-${createHash('sha256').update(script).digest('base64')}`,
)
