import type { Part } from '../../core/contract/car.ts'
import type { ParameterChanges } from '../parameters.ts'
import type { SimCar } from '../simCar.ts'
import { deadPump, rightSetup, wrongChokes } from './commonSetups.ts'
import { bored, chokeNotches, jetRow, labelled, openings, screwTurns } from './partBox.ts'
import { roadFigures } from './roadFigures.ts'

const mainJets = jetRow(62, 80, 1, 38.4)
const secondaryJets = jetRow(68, 86, 1, 38.4)
const restrictions = bored([
  ['43', 1.09],
  ['46', 1.17],
  ['49', 1.24],
  ['52', 1.32],
  ['55', 1.4],
  ['58', 1.47],
  ['61', 1.55],
  ['64', 1.63],
])
const squirters = bored([
  ['21', 0.53],
  ['25', 0.64],
  ['28', 0.71],
  ['31', 0.79],
  ['35', 0.89],
  ['38', 0.97],
  ['42', 1.07],
])
const screws = screwTurns(0.5, 3)
const valves = openings(5.5, 6.5, 7.5, 8.5, 9.5, 10.5)
const cams: Part[] = [
  { label: 'A', volume_ml: 0.9 },
  { label: 'B', volume_ml: 1.2 },
  { label: 'C', volume_ml: 1.5 },
  { label: 'D', volume_ml: 2 },
]
const springs: Part[] = [
  { label: 'light', stiffness: 0.6 },
  { label: 'plain', stiffness: 1 },
  { label: 'stiff', stiffness: 1.5 },
]
const chokes = chokeNotches()

const parameters: ParameterChanges = {
  'engine.displacement_L': 5.7,
  'engine.cylinders': 8,
  'engine.idle_rpm': 700,
  'engine.fast_idle_rpm': 1400,
  'engine.inertia_kgm2': 0.3,
  'engine.manifold_L': 6.5,
  'engine.peak_torque_rpm': 2900,
  'engine.redline_rpm': 4900,
  'engine.thermostat_C': 82,
  'carb.primaries': 2,
  'carb.secondaries': 2,
  'carb.venturi_mm': 30,
  'carb.bore_mm': 38,
  'carb.secondary_venturi_mm': 33,
  'exhaust.volume_L': 5,
  'vehicle.mass_kg': 1750,
  'vehicle.drag_area_m2': 0.98,
  'vehicle.rolling': 0.014,
  'vehicle.tyre_m': 2.12,
  'vehicle.final_drive': 3.08,
  'vehicle.gears': 3,
  'vehicle.gear_1': 2.5,
  'vehicle.gear_2': 1.5,
  'vehicle.gear_3': 1,
  'vehicle.automatic': 1,
  'vehicle.stall_rpm': 1650,
}

/** An invented open tourer: 5.7 l V8, four-barrel carburettor, three-speed automatic. */
export const marigold: SimCar = {
  name: 'marigold',
  profile: {
    id: 'marigold',
    name: 'Marigold',
    description: 'invented car: 5.7 l V8, four-barrel carburettor, automatic',
    engine: { displacement_l: 5.7, cylinders: 8, idle_rpm: 700, thermostat_C: 82 },
    metering: 'carburettor',
    barrels: 4,
    sensor: { curve: 'planar49', bank_names: ['left', 'right'] },
    fuel: { id: 'gasoline_e0' },
    ...roadFigures(parameters),
  },
  parameters,
  right: {
    main_jet: labelled(mainJets, '71', 2),
    secondary_jet: labelled(secondaryJets, '76', 2),
    power_restriction: labelled(restrictions, '55', 2),
    power_valve: labelled(valves, '9.5'),
    idle_screws: labelled(screws, '1.5'),
    squirter: labelled(squirters, '31', 2),
    pump_cam: labelled(cams, 'B'),
    opening_spring: labelled(springs, 'plain'),
    choke: labelled(chokes, 'index'),
  },
  box: {
    main_jet: mainJets,
    secondary_jet: secondaryJets,
    power_restriction: restrictions,
    power_valve: valves,
    idle_screws: screws,
    squirter: squirters,
    pump_cam: cams,
    opening_spring: springs,
    choke: chokes,
  },
  setups: {
    right: rightSetup,
    lean_main: {
      text: 'main jets four sizes too small',
      fitted: { main_jet: labelled(mainJets, '66') },
      wrong: ['main', 'power'],
    },
    rich_main: {
      text: 'main jets five sizes too large',
      fitted: { main_jet: labelled(mainJets, '77') },
      wrong: ['main'],
    },
    lean_power: {
      text: 'power restriction too small',
      fitted: { power_restriction: labelled(restrictions, '46') },
      wrong: ['power'],
    },
    rich_power: {
      text: 'power restriction too large',
      fitted: { power_restriction: labelled(restrictions, '64') },
      wrong: ['power'],
    },
    lean_idle: {
      text: 'mixture screws too far in',
      fitted: { idle_screws: labelled(screws, '1.125') },
      wrong: ['idle'],
    },
    rich_idle: {
      text: 'mixture screws too far out',
      fitted: { idle_screws: labelled(screws, '2') },
      wrong: ['idle'],
    },
    small_squirter: {
      text: 'squirter too small: lean at once',
      fitted: { squirter: labelled(squirters, '21') },
      wrong: ['pump'],
    },
    big_cam: {
      text: 'pump shot too large',
      fitted: { pump_cam: labelled(cams, 'D'), squirter: labelled(squirters, '38') },
      wrong: ['pump'],
    },
    dead_pump: deadPump,
    ...wrongChokes,
    light_spring: {
      text: 'secondaries open too early',
      fitted: { opening_spring: labelled(springs, 'light') },
      wrong: ['secondary'],
    },
  },
}
