import { type Box, type Fitted, type PartsFile, partsFileSchema } from '../contract/car.ts'

/** Box and parts of a parts file, or of a bare box. Throws `RangeError` naming the field at fault. */
export function readParts(box: Box | PartsFile): { box: Box; fitted?: Fitted } {
  const looksWhole =
    typeof box === 'object' && box !== null && typeof box.box === 'object' && !Array.isArray(box.box)
  const hasFitted = typeof box === 'object' && box !== null && 'fitted' in box && !Array.isArray(box.fitted)
  const parsed = partsFileSchema.safeParse(looksWhole || hasFitted ? box : { box })
  if (!parsed.success) {
    const issue = parsed.error.issues[0]
    throw new RangeError(`invalid parts: ${issue.path.join('.') || 'file'}: ${issue.message}`)
  }
  return { box: parsed.data.box ?? {}, ...(parsed.data.fitted ? { fitted: parsed.data.fitted } : {}) }
}
