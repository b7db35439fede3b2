import type { Server } from 'node:http'
import type { Browser, Page } from 'playwright'
import { afterAll, beforeAll, describe, test } from 'vitest'
import { contrast, decodePng, difference, type Eye, luminance } from './pixels.ts'
import { createStaticServer } from './staticServer.ts'
import { check, driveSizes, launch, openPage, pictureUrl, setTheme, shoot, twoFrames } from './support.ts'

const port = 4920
const base = `http://localhost:${port}`
let server: Server
let browser: Browser

const warning = { code: 'lean_under_load', priority: 'warning', startS: 759, worst: 0.97 }
const scenes: Readonly<Record<string, Record<string, unknown>>> = {
  'on-target': { recordingS: 760 },
  rich: { recordingS: 772, banks: [{ lambda: 0.93, least10s: 0.91, most10s: 0.97 }] },
  lean: { banks: [{ lambda: 1.12, least10s: 1.05, most10s: 1.14 }] },
  warning: {
    recordingS: 1267,
    state: 'power',
    targetLambda: 0.87,
    bandRich: 0.03,
    bandLean: 0.02,
    banks: [{ lambda: 0.96, least10s: 0.88, most10s: 0.97 }],
    alarms: [warning, { code: 'supply_low', priority: 'caution', startS: 759, worst: 11 }],
  },
  caution: {
    recordingS: 3671,
    state: 'part_throttle',
    alarms: [{ code: 'fuel_pressure_high', priority: 'caution', startS: 759, worst: 0.97 }],
  },
  charging: {
    recordingS: 3671,
    state: 'part_throttle',
    alarms: [
      { code: 'supply_low', priority: 'caution', startS: 759, worst: 11.2 },
      { code: 'disk_nearly_full', priority: 'caution', startS: 760, worst: 1.2e8 },
    ],
  },
  warming: {
    recordingS: 42,
    state: 'warm_up',
    banks: [{ lambda: null, untrusted: 'warming', warmingPct: 62, least10s: null, most10s: null }],
    coolantC: 31,
    engineSpeedRpm: 1480,
    warmUp: { sinceStartS: 42, stalls: 1, selfIdles: false },
  },
  fault: {
    recordingS: 9,
    banks: [{ lambda: null, untrusted: 'fault', faultCode: 'heater_short', least10s: null, most10s: null }],
  },
  'two banks': {
    recordingS: 42,
    units: { mixture: 'afr', pressure: 'inHg_vacuum', temperature: 'F' },
    car: { id: 'm', sensor: { bank_names: ['left bank', 'right bank'] } },
    banks: [
      { lambda: 1.03, least10s: 1.0, most10s: 1.06 },
      { lambda: 0.94, least10s: 0.92, most10s: 1.01 },
    ],
  },
  'long names': {
    recordingS: 7260,
    state: 'part_throttle',
    car: {
      id: 'm',
      name: 'the two-door of the uncle with the long name',
      sensor: { bank_names: ['left bank, cylinders 1 3 5 7', 'right bank, cylinders 2 4 6 8'] },
    },
    banks: [
      { lambda: 1.03, least10s: 1.0, most10s: 1.06 },
      { lambda: null, untrusted: 'fault', faultCode: 'heater_open', least10s: null, most10s: null },
    ],
  },
  'mixture alone': {
    state: 'running',
    targetLambda: null,
    bandRich: null,
    bandLean: null,
    engineSpeedRpm: null,
    throttlePct: null,
    manifoldKpa: null,
    load: null,
    coolantC: null,
    supplyV: null,
    roadSpeedMs: null,
    steady: false,
    steadyWhyNot: 'engine speed unknown',
    coverage: [],
  },
  unsteady: {
    recordingS: 42,
    state: 'part_throttle',
    steady: false,
    steadyWhyNot: 'throttle moves',
    coverage: [{ item: 'tip_in_cruise', have: 3, want: 10 }],
  },
  'reading missed': {
    banks: [{ lambda: null, untrusted: 'gap', least10s: null, most10s: null }],
    steady: false,
    steadyWhyNot: 'no trusted reading',
    coverage: [{ item: 'cruise', have: 29, want: 90 }],
  },
}

/** Everything that hangs out of the screen or of its own box, and texts that stand on each other. */
function overflows(page: Page): Promise<string[]> {
  return page.evaluate(() => {
    const bad: string[] = []
    if (
      document.documentElement.scrollWidth > innerWidth ||
      document.documentElement.scrollHeight > innerHeight
    )
      bad.push('scroll bars')
    for (const element of document.querySelectorAll<HTMLElement>('body *')) {
      const box = element.getBoundingClientRect()
      if (box.width === 0 || element.closest('.unseen, svg, .keep-awake')) continue
      const isInline = getComputedStyle(element).display === 'inline'
      if (box.right > innerWidth + 1 || box.bottom > innerHeight + 1 || box.left < -1 || box.top < -1)
        bad.push(`${element.className} outside`)
      else if (!isInline && element.scrollWidth > element.clientWidth + 1)
        bad.push(
          `${element.className} ${element.scrollWidth} > ${element.clientWidth}: ${element.textContent}`,
        )
    }
    const texts: { text: string; box: DOMRect }[] = []
    const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT)
    for (let node = walker.nextNode(); node; node = walker.nextNode()) {
      const text = node.textContent?.trim() ?? ''
      if (text === '' || node.parentElement?.closest('.unseen, noscript, script')) continue
      const range = document.createRange()
      range.selectNodeContents(node)
      for (const box of range.getClientRects()) if (box.width > 0) texts.push({ text, box })
    }
    // Boxes of text are higher than its letters: of each only the middle counts.
    const blank = 0.22
    for (const [i, a] of texts.entries()) {
      for (const b of texts.slice(i + 1)) {
        const bottom = Math.min(a.box.bottom - blank * a.box.height, b.box.bottom - blank * b.box.height)
        const top = Math.max(a.box.top + blank * a.box.height, b.box.top + blank * b.box.height)
        const wide = Math.min(a.box.right, b.box.right) - Math.max(a.box.left, b.box.left)
        if (wide > 1 && bottom - top > 1) bad.push(`"${a.text}" on "${b.text}"`)
      }
    }
    return bad
  })
}

/** Font sizes of all text in sight. */
function textSizes(page: Page): Promise<{ text: string; px: number; colour: string; ground: string }[]> {
  return page.evaluate(() => {
    const found: { text: string; px: number; colour: string; ground: string }[] = []
    const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT)
    for (let node = walker.nextNode(); node; node = walker.nextNode()) {
      const text = node.textContent?.trim() ?? ''
      const element = node.parentElement
      if (text === '' || !element || element.closest('.unseen, noscript, title, option')) continue
      if (element.getBoundingClientRect().width === 0 || getComputedStyle(element).visibility === 'hidden')
        continue
      let ground = 'rgba(0, 0, 0, 0)'
      for (let up: Element | null = element; up && ground === 'rgba(0, 0, 0, 0)'; up = up.parentElement)
        ground = getComputedStyle(up).backgroundColor
      const style = getComputedStyle(element)
      found.push({ text, px: Number.parseFloat(style.fontSize), colour: style.color, ground })
    }
    return found
  })
}

beforeAll(async () => {
  server = createStaticServer(() => ({ status: 404 }))
  await new Promise<void>((resolve) => server.listen(port, '127.0.0.1', resolve))
  browser = await launch()
})
afterAll(async () => {
  await browser?.close()
  server?.close()
})

describe('drive page, sizes', () => {
  test('the number and the words are large enough at 1280×800', async () => {
    const { page, close } = await openPage(browser, pictureUrl(base, scenes.rich))
    const size = (part: string) =>
      page
        .locator(`[data-part="${part}"]`)
        .first()
        .evaluate((element) => Number.parseFloat(getComputedStyle(element).fontSize))
    const number = await size('number')
    check('F1', `mixture number ${number} px (≥ 160)`, number >= 160)
    const helper = await size('helper')
    const word = await size('word')
    const target = await size('target')
    const least = (await textSizes(page)).reduce((a, b) => (a.px < b.px ? a : b))
    check(
      'F2',
      `helpers ${helper} px (≥ 64), word ${word}, target ${target} (≥ 37), least text ${least.px} px "${least.text}" (≥ 30)`,
      helper >= 64 && word >= 37 && target >= 37 && least.px >= 30,
    )
    await close()
    const alarm = await openPage(browser, pictureUrl(base, scenes.warning))
    const reason = await alarm.page
      .locator('[data-part="alarm"] .reason')
      .evaluate((element) => Number.parseFloat(getComputedStyle(element).fontSize))
    check('F2', `alarm text ${reason} px (≥ 37)`, reason >= 37)
    await alarm.close()
  })

  test('sizes follow the pixels an inch that the size check found', async () => {
    const rows: [number, number, number, number, number, number][] = [
      // width, height, pixels an inch, least number, least word, least text
      [1180, 820, 132, 142, 33, 26],
      [1280, 800, 189, 203, 47, 37],
    ]
    for (const [width, height, pixelsPerInch, number, word, text] of rows) {
      const { page, close } = await openPage(browser, pictureUrl(base, scenes.rich), {
        width,
        height,
        settings: { pixelsPerInch },
      })
      const texts = await textSizes(page)
      const least = Math.min(...texts.map(({ px }) => px))
      const target = texts.find((entry) => entry.text.startsWith('target'))?.px ?? 0
      const digits = texts.find((entry) => entry.text === '0.93')?.px ?? 0
      const hanging = await overflows(page)
      check(
        'F3',
        `${width}×${height} at ${pixelsPerInch} px/in: number ${digits.toFixed(0)} (≥ ${number}), words ${target.toFixed(0)} (≥ ${word}), least ${least.toFixed(0)} (≥ ${text}), ${hanging.length} overflows ${hanging.join('; ')}`,
        digits >= number && target >= word && least >= text && hanging.length === 0,
      )
      await close()
    }
  })

  test('digits are of equal width and heavy enough', async () => {
    const widths: number[] = []
    let style = { numeric: '', weight: '' }
    for (const lambda of [0.88, 1.11]) {
      const { page, close } = await openPage(browser, pictureUrl(base, { banks: [{ lambda }] }))
      const seen = await page.locator('[data-part="number"]').evaluate((element) => {
        const range = document.createRange()
        range.selectNodeContents(element)
        const { fontVariantNumeric, fontWeight } = getComputedStyle(element)
        return { width: range.getBoundingClientRect().width, numeric: fontVariantNumeric, weight: fontWeight }
      })
      widths.push(seen.width)
      style = seen
      await close()
    }
    check(
      'F4',
      `0.88 is ${widths[0].toFixed(1)} px wide, 1.11 is ${widths[1].toFixed(1)}; ${style.numeric}; weight ${style.weight}`,
      Math.abs(widths[0] - widths[1]) < 0.5 &&
        style.numeric === 'tabular-nums' &&
        Number(style.weight) >= 500 &&
        Number(style.weight) <= 700,
    )
  })

  test('every state fits every screen without scrolling or clipping', async () => {
    // A telephone is no tablet in a car, but nothing may be cut off on it either.
    const sizes = [...driveSizes, [390, 780]] as const
    const bad = new Map<string, string[]>(sizes.map(([width, height]) => [`${width}×${height}`, []]))
    const { page, close } = await openPage(browser, base)
    for (const [name, scene] of Object.entries(scenes)) {
      await page.goto(pictureUrl(base, scene))
      await page.locator('[data-part="state"]').waitFor()
      for (const [width, height] of sizes) {
        await page.setViewportSize({ width, height })
        await twoFrames(page)
        for (const problem of await overflows(page))
          bad.get(`${width}×${height}`)?.push(`${name}: ${problem}`)
      }
    }
    await close()
    for (const [size, problems] of bad) {
      check(
        'F5',
        `${size}: ${problems.length} overflows in ${Object.keys(scenes).length} states ${problems.join('; ')}`,
        problems.length === 0,
      )
    }
  })
})

describe('drive page, colour', () => {
  test('all text stands out enough in each theme', async () => {
    const themes = [
      ['day', 7],
      ['dark', 7],
      ['night', 4.5],
    ] as const
    const worst = new Map<string, { ratio: number; text: string }>()
    const { page, close } = await openPage(browser, base)
    for (const scene of [...Object.values(scenes), { page: '#/check' }, { page: '#/trace' }]) {
      await page.goto('page' in scene ? pictureUrl(base, {}, String(scene.page)) : pictureUrl(base, scene))
      await page.locator('main').waitFor()
      for (const [theme] of themes) {
        await setTheme(page, theme)
        for (const { text, colour, ground } of await textSizes(page)) {
          const ratio = contrast(colour, ground)
          if (!((worst.get(theme)?.ratio ?? 99) <= ratio)) worst.set(theme, { ratio, text })
        }
      }
    }
    for (const [theme, least] of themes) {
      const { ratio = 0, text = '' } = worst.get(theme) ?? {}
      check('C1', `${theme}: least text contrast ${ratio.toFixed(2)} "${text}" (≥ ${least})`, ratio >= least)
      await setTheme(page, theme)
      const roles = await page.evaluate(() => {
        const probe = document.createElement('i')
        document.body.append(probe)
        return Object.fromEntries(
          ['ground', 'slat', 'ink', 'rich', 'lean', 'line', 'caution', 'warning-edge', 'focus'].map(
            (role) => {
              probe.style.color = `var(--${role})`
              return [role, getComputedStyle(probe).color]
            },
          ),
        )
      })
      const shapes = ['ink', 'rich', 'lean', 'line', 'caution', 'warning-edge', 'focus'].map((role) => ({
        role,
        ratio: Math.min(contrast(roles[role], roles.slat), contrast(roles[role], roles.ground)),
      }))
      const least3 = shapes.reduce((a, b) => (a.ratio < b.ratio ? a : b))
      check(
        'C1',
        `${theme}: least shape contrast ${least3.ratio.toFixed(2)} (${least3.role}) (≥ 3)`,
        least3.ratio >= 3,
      )
    }
    await close()
  })

  test('rich, lean and on target differ without colour', async () => {
    const blank = await (await browser.newContext()).newPage()
    for (const theme of ['dark', 'day'] as const) {
      const { page, close } = await openPage(browser, base, { settings: { theme } })
      const shots: Record<string, Awaited<ReturnType<typeof decodePng>>> = {}
      let box = { x: 0, y: 0, width: 0, height: 0 }
      const words: string[] = []
      for (const [name, lambda] of [
        ['target', 1.02],
        ['rich', 0.93],
        ['lean', 1.11],
      ] as const) {
        await page.goto(pictureUrl(base, { banks: [{ lambda, least10s: 1.01, most10s: 1.03 }] }))
        const gate = page.locator('[data-side]:is(svg)')
        await gate.waitFor()
        box = (await gate.boundingBox()) ?? box
        words.push((await page.locator('[data-part="word"]').textContent())?.trim() ?? '')
        shots[name] = await decodePng(blank, await page.screenshot({ clip: box }))
      }
      const { width, height } = shots.target
      const left = { x: 0, y: 0, width: width / 3, height }
      const right = { x: (width * 2) / 3, y: 0, width: width / 3, height }
      for (const eye of ['grey', 'red-blind', 'green-blind'] as Eye[]) {
        const richLeft = difference(shots.rich, shots.target, left, eye)
        const richRight = difference(shots.rich, shots.target, right, eye)
        const leanLeft = difference(shots.lean, shots.target, left, eye)
        const leanRight = difference(shots.lean, shots.target, right, eye)
        check(
          'C2',
          `${theme}, ${eye}: rich fills ${(100 * richLeft.heightShare).toFixed(0)} % of the height left, lean ${(100 * leanRight.heightShare).toFixed(0)} % right; words ${words.join(' / ')}`,
          richLeft.heightShare > 0.55 &&
            leanRight.heightShare > 0.05 &&
            leanRight.heightShare < 0.4 &&
            richRight.heightShare === 0 &&
            leanLeft.heightShare === 0 &&
            new Set(words).size === 3,
        )
      }
      await close()
    }
    await blank.context().close()
  })

  test('night stays dark', async () => {
    const blank = await (await browser.newContext()).newPage()
    for (const name of ['on-target', 'rich', 'warning', 'caution', 'two banks']) {
      const { page, close } = await openPage(browser, pictureUrl(base, scenes[name]), {
        settings: { theme: 'night' },
      })
      await page.locator('[data-part="state"]').waitFor()
      const light = luminance(await decodePng(blank, await page.screenshot({ animations: 'disabled' })))
      let sum = 0
      let bright = 0
      // Luminance of #E8D44D.
      for (const value of light) {
        sum += value
        if (value > 0.646) bright++
      }
      const mean = sum / light.length
      const share = bright / light.length
      check(
        'C3',
        `${name}: mean luminance ${mean.toFixed(4)} (≤ 0.04), ${(100 * share).toFixed(2)} % brighter than #E8D44D (≤ 1 %)`,
        mean <= 0.04 && share <= 0.01,
      )
      await close()
    }
    await blank.context().close()
  })

  test('forced colours keep number, word, strip and alarm in sight', async () => {
    const { page, close } = await openPage(browser, pictureUrl(base, scenes.warning), {
      forcedColors: 'active',
    })
    await page.locator('[data-part="alarm"]').waitFor()
    const seen = await page.evaluate(() => {
      const ground = getComputedStyle(document.querySelector('.drive')!).backgroundColor
      const colours = (selector: string, property: 'color' | 'stroke' | 'fill') =>
        getComputedStyle(document.querySelector(selector)!)[property]
      return {
        ground,
        number: colours('[data-part="number"]', 'color'),
        word: colours('[data-part="word"]', 'color'),
        post: colours('.post', 'stroke'),
        weight: colours('svg .point', 'fill'),
        alarm: colours('[data-part="alarm"] strong', 'color'),
        alarmGround: getComputedStyle(document.querySelector('[data-part="alarm"] .slat')!).backgroundColor,
      }
    })
    const ratios = [seen.number, seen.word, seen.post, seen.weight].map((colour) =>
      contrast(colour, seen.ground),
    )
    ratios.push(contrast(seen.alarm, seen.alarmGround))
    check(
      'C4',
      `number, word, post, weight, alarm contrast ${ratios.map((r) => r.toFixed(1)).join(', ')} (≥ 3)`,
      Math.min(...ratios) >= 3,
    )
    await shoot(page, 'drive-forced-colours')
    await close()
  })
})

describe('drive page, touch and motion', () => {
  test('controls are large and apart', async () => {
    const least = driveSizes.map(() => ({
      smallest: Number.POSITIVE_INFINITY,
      closest: Number.POSITIVE_INFINITY,
    }))
    for (const scene of [scenes['on-target'], scenes.warning]) {
      const { page, close } = await openPage(browser, pictureUrl(base, { ...scene, role: 'controller' }))
      await page.locator('[data-part="state"]').waitFor()
      for (const [s, [width, height]] of driveSizes.entries()) {
        await page.setViewportSize({ width, height })
        await twoFrames(page)
        let { smallest, closest } = least[s]
        const boxes = await page.evaluate(() =>
          [...document.querySelectorAll('button')].map((button) => {
            const { left, right, top, bottom } = button.getBoundingClientRect()
            return { left, right, top, bottom }
          }),
        )
        for (const [i, a] of boxes.entries()) {
          smallest = Math.min(smallest, a.right - a.left, a.bottom - a.top)
          for (const b of boxes.slice(i + 1)) {
            const dx = Math.max(a.left - b.right, b.left - a.right)
            const dy = Math.max(a.top - b.bottom, b.top - a.bottom)
            closest = Math.min(closest, Math.max(dx, dy))
          }
        }
        least[s] = { smallest, closest }
      }
      await close()
    }
    for (const [s, [width, height]] of driveSizes.entries()) {
      const { smallest, closest } = least[s]
      check(
        'T1',
        `${width}×${height}: least side ${smallest.toFixed(0)} px (≥ 96), least gap ${closest.toFixed(0)} px (≥ 16)`,
        smallest >= 96 && closest >= 16,
      )
    }
  })

  test('nothing moves by itself and no text is long', async () => {
    const { page, close } = await openPage(browser, pictureUrl(base, scenes['on-target']))
    const longest = (await textSizes(page)).reduce((a, b) => Math.max(a, b.text.length), 0)
    const moving = await page.evaluate(() => document.getAnimations().length)
    check(
      'T4',
      `${moving} animations while all is well, longest text ${longest} characters (≤ 120)`,
      moving === 0 && longest <= 120,
    )
    await close()
  })

  test('a warning flashes at 2 Hz and stops within 5 s, and not at all with reduced motion', async () => {
    const flash = (page: Page) =>
      page.evaluate(() => {
        const running = document.getAnimations().map((animation) => animation.effect?.getComputedTiming())
        const box = document.querySelector('[data-part="alarm"]')!.getBoundingClientRect()
        return {
          count: running.length,
          periodMs: Number(running[0]?.duration ?? 0),
          endMs: Number(running[0]?.endTime ?? 0),
          area: box.width * box.height,
        }
      })
    const moving = await openPage(browser, pictureUrl(base, scenes.warning))
    await moving.page.locator('[data-part="alarm"]').waitFor()
    const withMotion = await flash(moving.page)
    check(
      'M2',
      `flash ${(1000 / withMotion.periodMs).toFixed(2)} Hz for ${(withMotion.endMs / 1000).toFixed(1)} s (1.5–2.8 Hz, ≤ 5 s)`,
      withMotion.count === 1 &&
        withMotion.periodMs >= 357 &&
        withMotion.periodMs <= 667 &&
        withMotion.endMs <= 5000,
    )
    await moving.close()
    const still = await openPage(browser, pictureUrl(base, scenes.warning), { reducedMotion: 'reduce' })
    await still.page.locator('[data-part="alarm"]').waitFor()
    const without = await flash(still.page)
    check(
      'M1',
      `${without.count} animations with reduced motion, alarm area ${without.area.toFixed(0)} of ${withMotion.area.toFixed(0)} px²`,
      without.count === 0 && Math.abs(without.area - withMotion.area) < 1,
    )
    await still.close()
  })

  test('each forced state of the page has its own words', async () => {
    const { page, close } = await openPage(browser, base)
    const seen: string[] = []
    for (const state of ['empty', 'loading', 'error', 'offline']) {
      await page.goto(pictureUrl(base, {}, `&state=${state}`))
      seen.push((await page.locator('[data-part="instead"]').textContent())?.trim() ?? '')
    }
    check('E1', `drive: ${seen.join(' / ')}`, new Set(seen).size === 4)
    await close()
  })

  test('pictures of every state are taken in all themes and both orientations', async () => {
    const { page, close } = await openPage(browser, base)
    for (const name of ['on-target', 'rich', 'warning', 'warming', 'two banks']) {
      await page.goto(pictureUrl(base, scenes[name]))
      await page.locator('[data-part="state"]').waitFor()
      for (const theme of ['day', 'dark', 'night'] as const) {
        await setTheme(page, theme)
        for (const [width, height] of [
          [1280, 800],
          [800, 1280],
        ]) {
          await page.setViewportSize({ width, height })
          await twoFrames(page)
          await shoot(page, `drive-${name.replace(' ', '-')}-${theme}-${width}x${height}`)
        }
      }
    }
    await close()
  })
})
