/** Shown before a carburettor is opened. Source: common practice; vapour figures of petrol: flash point about −40 °C. */
export const openingCautions: readonly string[] = Object.freeze([
  'Cold engine. Ignition and fuel pump off, battery off. No flame, no heater, no lamp near.',
  'Drain the bowl into a closed metal can. Fresh air: the vapour is heavier than air and burns far below freezing.',
  'Extinguisher for liquid fires at hand. Protect your eyes.',
])

/** Shown where an idle or lean verdict is read. */
export const leanReadingCautions: readonly string[] = Object.freeze([
  'An exhaust leak before the sensor, misfire, air injection or a long-overlap camshaft can read lean when it is not.',
])

/** Shown with a plan that asks for full throttle. */
export const fullThrottleCautions: readonly string[] = Object.freeze([
  'Full throttle only where it is legal, best on a closed course or a rolling road. Lift at the lean warning.',
])

/** Shown once on every report. */
export const reportCautions: readonly string[] = Object.freeze([
  'Readings are an aid and no certified measurement.',
  'Changing the mixture or the parts may be unlawful on a road car. Follow local law and a qualified technician.',
  'Never run the engine in a closed garage: exhaust gas kills.',
])
