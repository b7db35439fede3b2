import { readFile } from 'node:fs/promises'
import { createRequire } from 'node:module'

const faces = [400, 700] as const

/** The pages' typeface as style rules with the font inside, so that a sheet prints the same on any machine; empty where the font is not installed. */
export async function reportFontCss(): Promise<string> {
  const { resolve } = createRequire(import.meta.url)
  const rules = faces.map(async (weight) => {
    const file = await readFile(resolve(`@fontsource/b612/files/b612-latin-${weight}-normal.woff2`))
    return `@font-face{font-family:B612;font-weight:${weight};src:url(data:font/woff2;base64,${file.toString('base64')}) format("woff2")}`
  })
  try {
    return (await Promise.all(rules)).join('\n')
  } catch {
    // The sheet names other typefaces after it.
    return ''
  }
}
