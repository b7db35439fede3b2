import { language } from '../../languageGuard.ts'

/** `3 June`, with the year when it is not this one; the text itself when it is no date. */
export function dayText(at: string, now = new Date()): string {
  const date = new Date(at)
  if (Number.isNaN(date.getTime())) return at
  const isThisYear = date.getFullYear() === now.getFullYear()
  return new Intl.DateTimeFormat(language, {
    day: 'numeric',
    month: 'long',
    ...(isThisYear ? {} : { year: 'numeric' }),
  }).format(date)
}
