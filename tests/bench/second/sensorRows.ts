/** Pump current of the 4.9-generation sensor at a λ: rows of the published table, straight between them. */
const curve: [number, number][] = [
  [0.65, -2],
  [0.7, -1.602],
  [0.75, -1.243],
  [0.8, -0.927],
  [0.822, -0.8],
  [0.85, -0.652],
  [0.9, -0.405],
  [0.95, -0.183],
  [0.97, -0.106],
  [0.99, -0.04],
  [1.003, 0],
  [1.01, 0.015],
  [1.05, 0.097],
  [1.1, 0.193],
  [1.132, 0.25],
  [1.179, 0.329],
  [1.429, 0.671],
  [1.701, 0.938],
  [1.99, 1.15],
  [2.434, 1.385],
  [3.413, 1.7],
  [5.391, 2],
  [7.506, 2.15],
  [10.119, 2.25],
]
/** Pump current, mA, straight between the rows. */
export function currentAt(lambda: number): number {
  if (lambda <= 0.65) return -2
  for (let i = 1; i < curve.length; i++) {
    const [l1, i1] = curve[i]
    if (lambda <= l1) {
      const [l0, i0] = curve[i - 1]
      return i0 + ((i1 - i0) * (lambda - l0)) / (l1 - l0)
    }
  }
  return 2.25
}

/** λ at a pump current: the same rows, the other way. */
export function lambdaAt(ma: number): number {
  for (let i = 1; i < curve.length; i++) {
    const [l1, i1] = curve[i]
    if (ma > i1 && i < curve.length - 1) continue
    const [l0, i0] = curve[i - 1]
    return l0 + ((l1 - l0) * (ma - i0)) / (i1 - i0)
  }
  return Number.NaN
}
