import { createContext } from 'svelte'
import type { MixtureUnit } from '../../words/mixtureUnit.ts'

/** How the parts of one run's page (or of a comparison) show mixture: a call, since the choice may change while they stand. */
export const [getMixture, setMixture] = createContext<() => MixtureUnit>()
