import { readFileSync } from 'node:fs'
import { createRequire } from 'node:module'
import type { Page } from 'playwright'

const axeSource = readFileSync(createRequire(import.meta.url).resolve('axe-core/axe.min.js'), 'utf8')

interface AxeOptions {
  rules?: Record<string, { enabled: boolean }>
  runOnly?: { type: 'rule'; values: string[] }
}
interface AxeWindow {
  axe: {
    run(
      root: Document,
      options: AxeOptions,
    ): Promise<{
      violations: { id: string; nodes: { target: string[]; any: { message: string }[] }[] }[]
    }>
  }
}

/** All rules, with text at 7:1. */
export const everyRule: AxeOptions = { rules: { 'color-contrast-enhanced': { enabled: true } } }
/** What other colours can change: text at 7:1, at night at 4.5:1. */
export const contrastIn = (theme: 'day' | 'dark' | 'night'): AxeOptions => ({
  runOnly: { type: 'rule', values: [theme === 'night' ? 'color-contrast' : 'color-contrast-enhanced'] },
})

/** What axe-core finds, one text a node. */
export async function violations(page: Page, options: AxeOptions): Promise<string[]> {
  if (!(await page.evaluate(() => 'axe' in window))) await page.evaluate(axeSource)
  return await page.evaluate(async (wanted) => {
    const { violations: found } = await (window as unknown as AxeWindow).axe.run(document, wanted)
    return found.flatMap(({ id, nodes }) =>
      nodes.map(({ target, any }) => `${id}: ${target.join(' ')} ${any[0]?.message ?? ''}`),
    )
  }, options)
}

/** Controls smaller than `leastPx` either way, by their text; a box inside a label counts by the label. */
export function smallControls(page: Page, leastPx = 44): Promise<string[]> {
  return page.evaluate((least) => {
    const found: string[] = []
    const controls = document.querySelectorAll(
      'main button, main a, main input, main select, main summary, nav a',
    )
    for (const control of controls) {
      const whole = control.closest('label') ?? control
      const { width, height } = whole.getBoundingClientRect()
      if (width === 0 || control.closest('[inert]') || control.closest('details:not([open]) > :not(summary)'))
        continue
      if (width < least - 0.5 || height < least - 0.5)
        found.push(
          `${control.tagName} ${control.textContent?.trim().slice(0, 30)} ${Math.round(width)}×${Math.round(height)}`,
        )
    }
    return found
  }, leastPx)
}

/** Words that reach out of the box they belong to, and so over what stands beside it. */
export function outsideWords(page: Page): Promise<string[]> {
  return page.evaluate(() => {
    const found: string[] = []
    const walker = document.createTreeWalker(document.querySelector('main')!, NodeFilter.SHOW_TEXT)
    const range = document.createRange()
    while (walker.nextNode()) {
      const parent = walker.currentNode.parentElement!
      if (!walker.currentNode.textContent?.trim() || parent.closest('.unseen, svg, .plot, option')) continue
      range.selectNodeContents(walker.currentNode)
      const { left, right, width } = range.getBoundingClientRect()
      if (width === 0) continue
      for (let box = parent; box.tagName !== 'MAIN'; box = box.parentElement!) {
        const { overflowX, display } = getComputedStyle(box)
        if (overflowX !== 'visible') break
        if (display === 'inline' || display === 'contents') continue
        const edge = box.getBoundingClientRect()
        if (right <= edge.right + 2 && left >= edge.left - 2) continue
        found.push(`${parent.className} ${parent.textContent?.trim().slice(0, 40)}`)
        break
      }
    }
    return found
  })
}

/** How far the page is wider than its window, and texts that are cut off by their own box. */
export function overflow(page: Page): Promise<{ sidewaysPx: number; clipped: string[] }> {
  return page.evaluate(() => {
    const clipped: string[] = []
    for (const node of document.querySelectorAll<HTMLElement>('main *')) {
      const style = getComputedStyle(node)
      if (style.overflowX === 'visible' || style.overflowX === 'auto' || style.overflowX === 'scroll')
        continue
      if (node.closest('.unseen, .plot, svg, [data-part="replay-drive"]') || node.clientWidth === 0) continue
      if (node.scrollWidth > node.clientWidth + 1)
        clipped.push(`${node.className} ${node.textContent?.slice(0, 40)}`)
    }
    // A closed list cuts its choice without a sign: a copy of it that holds this choice alone shows how wide it wants to be.
    for (const list of document.querySelectorAll<HTMLSelectElement>('main select')) {
      if (list.clientWidth === 0) continue
      const copy = list.cloneNode() as HTMLSelectElement
      const text = list.selectedOptions[0]?.text ?? ''
      copy.append(new Option(text))
      copy.style.cssText = 'position: absolute; visibility: hidden; width: max-content'
      list.after(copy)
      if (copy.offsetWidth > list.offsetWidth + 1) clipped.push(`list: ${text}`)
      copy.remove()
    }
    return { sidewaysPx: document.documentElement.scrollWidth - window.innerWidth, clipped }
  })
}
