/** Where the bridge tells what happened. Texts never hold secrets (tokens, cookies, keys). */
export interface Logger {
  info(text: string): void
  warn(text: string): void
  error(text: string): void
}

/** Says nothing: for tests and one-off work. */
export const silentLogger: Logger = { info() {}, warn() {}, error() {} }

/** How long an equal text is held back: a flapping port must not fill a log. */
const repeatAfterMs = 10_000

/**
 * A logger of plain lines, `time level text`. Equal texts within 10 s are counted and told once.
 * @param write takes one line without its end
 */
export function createLineLogger(write: (line: string) => void, nowMs: () => number = Date.now): Logger {
  let lastText = ''
  let lastMs = 0
  let repeated = 0
  const tell = (level: string, text: string) => {
    const now = nowMs()
    if (text === lastText && now - lastMs < repeatAfterMs) {
      repeated++
      return
    }
    const stamp = new Date(now).toISOString()
    if (repeated > 0) write(`${stamp} ${level} (the last line ${repeated} more times)`)
    lastText = text
    lastMs = now
    repeated = 0
    write(`${stamp} ${level} ${text}`)
  }
  return {
    info: (text) => tell('info', text),
    warn: (text) => tell('warn', text),
    error: (text) => tell('error', text),
  }
}
