import { describe, expect, it } from 'vitest'
import { reportFontCss } from '../../bridge/export/reportFont.ts'

describe('reportFontCss', () => {
  it('holds both weights of the typeface as whole font files', async () => {
    const css = await reportFontCss()
    const fonts = [...css.matchAll(/font-weight:(\d+);src:url\(data:font\/woff2;base64,([^)]+)\)/g)]
    expect(fonts.map(([, weight]) => weight)).toEqual(['400', '700'])
    for (const [, , text] of fonts) {
      const file = Buffer.from(text, 'base64')
      // A WOFF2 file starts with its signature and tells its own length at byte 8 (W3C WOFF 2.0, 4.1).
      expect(file.subarray(0, 4).toString('latin1')).toBe('wOF2')
      expect(file.readUInt32BE(8)).toBe(file.length)
    }
  })
})
