import type { Part } from '../../core/contract/car.ts'
import type { ParameterChanges } from '../parameters.ts'
import type { SimCar } from '../simCar.ts'
import { deadPump, rightSetup, wrongChokes } from './commonSetups.ts'
import { bored, chokeNotches, jetRow, labelled, openings, screwTurns } from './partBox.ts'
import { roadFigures } from './roadFigures.ts'

const mainJets = jetRow(84, 108, 2, 39.4)
/** Metering rods by their cruise and power diameters in hundredths of a millimetre. */
const rods: Part[] = [
  [168, 130],
  [164, 130],
  [160, 134],
  [160, 130],
  [160, 126],
  [160, 122],
  [160, 118],
  [156, 126],
  [152, 126],
  [148, 122],
].map(([cruise, power]) => ({ label: `${cruise}/${power}`, cruise_mm: cruise / 100, power_mm: power / 100 }))
const rodSprings = openings(5.5, 7, 8.5, 9.5, 11)
const squirters = bored([
  ['40', 0.4],
  ['45', 0.45],
  ['50', 0.5],
  ['55', 0.55],
  ['60', 0.6],
  ['70', 0.7],
])
const screws = screwTurns(0.5, 3.5)
const cams: Part[] = [
  { label: 'short', volume_ml: 0.5 },
  { label: 'middle', volume_ml: 0.7 },
  { label: 'long', volume_ml: 0.95 },
]
const chokes = chokeNotches()

const parameters: ParameterChanges = {
  'engine.displacement_L': 3.7,
  'engine.cylinders': 6,
  'engine.idle_rpm': 650,
  'engine.fast_idle_rpm': 1450,
  'engine.inertia_kgm2': 0.22,
  'engine.manifold_L': 4.2,
  'engine.peak_torque_rpm': 2400,
  'engine.redline_rpm': 4700,
  'engine.thermostat_C': 85,
  'carb.primaries': 2,
  'carb.venturi_mm': 29,
  'carb.bore_mm': 37,
  'exhaust.volume_L': 3.6,
  'vehicle.mass_kg': 1420,
  'vehicle.drag_area_m2': 0.88,
  'vehicle.rolling': 0.014,
  'vehicle.tyre_m': 2.02,
  'vehicle.final_drive': 3.42,
  'vehicle.gears': 4,
  'vehicle.gear_1': 3.1,
  'vehicle.gear_2': 1.85,
  'vehicle.gear_3': 1.3,
  'vehicle.gear_4': 1,
}

/** An invented saloon: 3.7 l straight six, two-barrel carburettor with metering rods, four-speed manual. */
export const juniper: SimCar = {
  name: 'juniper',
  profile: {
    id: 'juniper',
    name: 'Juniper',
    description: 'invented car: 3.7 l straight six, two-barrel carburettor with metering rods, manual',
    engine: { displacement_l: 3.7, cylinders: 6, idle_rpm: 650, thermostat_C: 85 },
    metering: 'carburettor',
    barrels: 2,
    sensor: { curve: 'planar49', bank_names: ['all cylinders'] },
    fuel: { id: 'gasoline_e0' },
    ...roadFigures(parameters),
  },
  parameters,
  right: {
    main_jet: labelled(mainJets, '96', 2),
    rod: labelled(rods, '160/126', 2),
    rod_spring: labelled(rodSprings, '9.5'),
    idle_screws: labelled(screws, '1.75'),
    squirter: labelled(squirters, '50', 2),
    pump_cam: labelled(cams, 'middle'),
    choke: labelled(chokes, 'index'),
  },
  box: {
    main_jet: mainJets,
    rod: rods,
    rod_spring: rodSprings,
    idle_screws: screws,
    squirter: squirters,
    pump_cam: cams,
    choke: chokes,
  },
  setups: {
    right: rightSetup,
    lean_main: {
      text: 'main jets three sizes too small',
      fitted: { main_jet: labelled(mainJets, '90') },
      wrong: ['main', 'power'],
    },
    rich_main: {
      text: 'main jets four sizes too large',
      fitted: { main_jet: labelled(mainJets, '104') },
      wrong: ['main', 'power'],
    },
    lean_power: {
      text: 'rods too thick at the power step',
      fitted: { rod: labelled(rods, '160/134') },
      wrong: ['power'],
    },
    rich_power: {
      text: 'rods too thin at the power step',
      fitted: { rod: labelled(rods, '160/118') },
      wrong: ['power'],
    },
    lean_idle: {
      text: 'mixture screws too far in',
      fitted: { idle_screws: labelled(screws, '1.25') },
      wrong: ['idle'],
    },
    rich_idle: {
      text: 'mixture screws too far out',
      fitted: { idle_screws: labelled(screws, '2.375') },
      wrong: ['idle'],
    },
    late_rods: {
      text: 'rod spring too weak: enrichment comes late',
      fitted: { rod_spring: labelled(rodSprings, '5.5') },
      wrong: ['power'],
    },
    small_squirter: {
      text: 'squirter too small: lean at once',
      fitted: { squirter: labelled(squirters, '40'), pump_cam: labelled(cams, 'short') },
      wrong: ['pump'],
    },
    dead_pump: deadPump,
    late_pump: {
      text: 'slack pump lever: the shot comes late',
      parameters: { 'carb.pump_delay_s': 0.3 },
      wrong: ['pump'],
    },
    ...wrongChokes,
  },
}
