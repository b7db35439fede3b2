/** The four states every page has besides being ready. */
export type PageState = 'ready' | 'empty' | 'loading' | 'error' | 'offline'
