import type { Component } from 'svelte'
import Bench from './pages/Bench.svelte'
import Check from './pages/Check.svelte'
import Compare from './pages/Compare.svelte'
import Connect from './pages/Connect.svelte'
import Drive from './pages/Drive.svelte'
import Fitted from './pages/Fitted.svelte'
import Help from './pages/Help.svelte'
import Link from './pages/Link.svelte'
import NextChange from './pages/NextChange.svelte'
import Run from './pages/Run.svelte'
import Runs from './pages/Runs.svelte'
import SetUp from './pages/SetUp.svelte'
import Tank from './pages/Tank.svelte'
import Trace from './pages/Trace.svelte'

/** One page: its address is `#/path`. Adding a page is one line in `pages`. */
export interface PageEntry {
  readonly path: string
  readonly title: string
  readonly component: Component
  /** False leaves it out of the list of pages (a run, which is reached from the list of runs). */
  readonly inNav?: boolean
  /** Page of the row that is marked while this one is open; default itself. */
  readonly under?: string
  /** Listed under "More" in place of the row of pages. */
  readonly group?: 'more'
  /** The page takes the whole screen, without the frame. */
  readonly bare?: boolean
  /** The page changes things: inert while recording. */
  readonly setUp?: boolean
}

export const pages: readonly PageEntry[] = [
  { path: 'drive', title: 'Drive', component: Drive, bare: true },
  { path: 'check', title: 'Before driving', component: Check, group: 'more' },
  { path: 'trace', title: 'Trace', component: Trace },
  { path: 'runs', title: 'Runs', component: Runs },
  { path: 'run', title: 'Run', component: Run, inNav: false, under: 'runs' },
  { path: 'compare', title: 'Compare', component: Compare },
  { path: 'fitted', title: 'Fitted', component: Fitted, setUp: true },
  { path: 'next', title: 'Next change', component: NextChange },
  { path: 'tank', title: 'Tank', component: Tank, setUp: true },
  { path: 'setup', title: 'Set-up', component: SetUp, group: 'more', setUp: true },
  { path: 'link', title: 'Link', component: Link, group: 'more' },
  { path: 'connect', title: 'Connect', component: Connect, group: 'more' },
  { path: 'bench', title: 'Bench', component: Bench, group: 'more', setUp: true },
  { path: 'help', title: 'Help', component: Help, group: 'more' },
]
