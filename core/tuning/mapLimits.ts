/* What the cells of a mixture map say, alike on the page and on the sheet. */

/** Smallest distance from target that counts as a side, λ: the narrowest common band. */
export const MAP_QUIET_LAMBDA = 0.03
/** Seconds from which a cell's number is bold, and below which a cell says nothing that a person should act on. Chosen here. */
export const MAP_SOLID_S = 10
export const MAP_LEAST_S = 0.5
