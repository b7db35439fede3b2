/** The part of the metadata proposal that the certificate library's injector asks for. */
interface ReflectMetadata {
  defineMetadata(key: unknown, value: unknown, target: object, property?: PropertyKey): void
  getOwnMetadata(key: unknown, target: object, property?: PropertyKey): unknown
  getMetadata(key: unknown, target: object, property?: PropertyKey): unknown
  hasMetadata(key: unknown, target: object, property?: PropertyKey): boolean
  hasOwnMetadata(key: unknown, target: object, property?: PropertyKey): boolean
  metadata(key: unknown, value: unknown): (target: object, property?: PropertyKey) => void
}

/** Values by target, then property, then key. */
type Kept = WeakMap<object, Map<PropertyKey | undefined, Map<unknown, unknown>>>

/**
 * Gives `Reflect` the metadata functions, unless it has them. The certificate library refuses to load without; must run before it is
 * imported.
 */
export function installReflectMetadata(): void {
  const reflect = Reflect as unknown as Partial<ReflectMetadata>
  if (reflect.getMetadata) return
  const kept: Kept = new WeakMap()

  const findOwn = (target: object, property?: PropertyKey) => kept.get(target)?.get(property)
  const findHolder = (key: unknown, target: object, property?: PropertyKey) => {
    for (let at: object | null = target; at !== null; at = Object.getPrototypeOf(at)) {
      const found = findOwn(at, property)
      if (found?.has(key)) return found
    }
    return undefined
  }
  const define: ReflectMetadata['defineMetadata'] = (key, value, target, property) => {
    const byProperty = kept.get(target) ?? new Map()
    kept.set(target, byProperty)
    const byKey = byProperty.get(property) ?? new Map()
    byProperty.set(property, byKey.set(key, value))
  }

  Object.assign(reflect, {
    defineMetadata: define,
    getOwnMetadata: (key, target, property) => findOwn(target, property)?.get(key),
    hasOwnMetadata: (key, target, property) => findOwn(target, property)?.has(key) ?? false,
    getMetadata: (key, target, property) => findHolder(key, target, property)?.get(key),
    hasMetadata: (key, target, property) => findHolder(key, target, property) !== undefined,
    metadata: (key, value) => (target, property) => define(key, value, target, property),
  } satisfies ReflectMetadata)
}
