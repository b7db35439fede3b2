/** How long a handed-over file stays to be read, ms: a busy browser starts its download late. Chosen here. */
const keptMs = 60_000

/** Gives a file to the browser, to be saved under its name. */
export function handOver(blob: Blob, fileName: string): void {
  const url = URL.createObjectURL(blob)
  const link = document.createElement('a')
  link.href = url
  link.download = fileName
  link.click()
  setTimeout(() => URL.revokeObjectURL(url), keptMs)
}
