import type { CarProfile } from '../../../core/contract/car.ts'
import type { UnitId } from '../../../core/units/unitTable.ts'

/** What every section of the set-up page takes. */
export interface SectionProps {
  car: CarProfile
  /** Unit of a quantity on this screen. */
  unitOf: (quantity: string, fallback: UnitId) => UnitId
  onchange: (part: Partial<CarProfile>) => void
}
