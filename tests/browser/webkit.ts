import { type ChildProcess, spawn, spawnSync } from 'node:child_process'
import { once } from 'node:events'
import { createInterface } from 'node:readline'

/*
 * The engine of the other kind of tablet, through the W3C WebDriver protocol: Debian's `webkit2gtk-driver` on a virtual screen (`xvfb`). Playwright's own build
 * of it is no package, so a bare machine may not have it.
 */

/** An answer takes at most this long, ms: the driver itself would wait for ever. */
const ANSWER_MS = 30_000
const ELEMENT = 'element-6066-11e4-a52e-4f735466cecf'

export interface WebKitPage {
  go(url: string): Promise<void>
  /** Runs the body of a function in the page and gives what it returns. */
  run<T>(body: string, ...args: unknown[]): Promise<T>
  /** A real click, which counts as a person's. */
  click(xpath: string): Promise<void>
  close(): Promise<void>
}

/** True where driver and virtual screen are installed. */
export function hasWebKit(): boolean {
  return ['WebKitWebDriver', 'Xvfb'].every((name) => spawnSync('which', [name]).status === 0)
}

/** Starts the engine with one window. */
export async function openWebKit(port: number, width: number, height: number): Promise<WebKitPage> {
  const screen = spawn('Xvfb', ['-displayfd', '1', '-screen', '0', `${width}x${height}x24`], {
    stdio: ['ignore', 'pipe', 'ignore'],
  })
  const started: ChildProcess[] = [screen]
  const stop = () => {
    for (const child of started) child.kill('SIGKILL')
  }
  try {
    const [display] = (await once(createInterface({ input: screen.stdout! }), 'line')) as [string]
    started.push(
      spawn('WebKitWebDriver', [`--port=${port}`], {
        stdio: 'ignore',
        env: { ...process.env, DISPLAY: `:${display}` },
      }),
    )
    const base = `http://127.0.0.1:${port}`
    const { sessionId } = await whenUp(() =>
      ask<{ sessionId: string }>(base, 'POST', '/session', { capabilities: {} }),
    )
    const session = `${base}/session/${sessionId}`
    await ask(session, 'POST', '/window/rect', { x: 0, y: 0, width, height })
    return {
      go: async (url) => void (await ask(session, 'POST', '/url', { url })),
      run: (script, ...args) => ask(session, 'POST', '/execute/sync', { script, args }),
      async click(value) {
        const found = await ask<Record<string, string>>(session, 'POST', '/element', {
          using: 'xpath',
          value,
        })
        await ask(session, 'POST', `/element/${found[ELEMENT]}/click`, {})
      },
      async close() {
        await ask(session, 'DELETE', '').catch(() => {
          // It is killed next in any case.
        })
        stop()
      },
    }
  } catch (error) {
    stop()
    throw error
  }
}

async function ask<T>(base: string, method: string, path: string, body?: unknown): Promise<T> {
  const answer = await fetch(base + path, {
    method,
    signal: AbortSignal.timeout(ANSWER_MS),
    ...(body === undefined ? {} : { body: JSON.stringify(body) }),
  })
  const { value } = (await answer.json()) as { value: T & { error?: string; message?: string } }
  if (!answer.ok) throw new Error(`${method} ${path}: ${value.error} ${value.message}`)
  return value
}

/** Tries until the driver listens. */
async function whenUp<T>(call: () => Promise<T>): Promise<T> {
  for (let tries = 1; ; tries++) {
    try {
      return await call()
    } catch (error) {
      const isUp = !(error instanceof TypeError)
      if (isUp || tries > 50) throw error
      await new Promise((resolve) => setTimeout(resolve, 100))
    }
  }
}
