import type { Part } from '../../core/contract/car.ts'
import type { ParameterChanges } from '../parameters.ts'
import type { SimCar } from '../simCar.ts'
import { deadPump, rightSetup, wrongChokes } from './commonSetups.ts'
import { bored, chokeNotches, jetRow, labelled, openings, screwTurns } from './partBox.ts'
import { roadFigures } from './roadFigures.ts'

const mainJets = jetRow(105, 140, 2.5, 100)
const restrictions = bored([
  ['45', 0.45],
  ['50', 0.5],
  ['55', 0.55],
  ['60', 0.6],
  ['65', 0.65],
  ['70', 0.7],
  ['75', 0.75],
])
const valves = openings(5.5, 7, 8.5, 9.5, 10.5, 12)
const squirters = bored([
  ['30', 0.3],
  ['35', 0.35],
  ['40', 0.4],
  ['45', 0.45],
  ['50', 0.5],
])
const screws = screwTurns(0.5, 4)
const cams: Part[] = [
  { label: '1', volume_ml: 0.25 },
  { label: '2', volume_ml: 0.35 },
  { label: '3', volume_ml: 0.5 },
]
const chokes = chokeNotches()

const parameters: ParameterChanges = {
  'engine.displacement_L': 1.1,
  'engine.cylinders': 4,
  'engine.idle_rpm': 850,
  'engine.fast_idle_rpm': 1700,
  'engine.inertia_kgm2': 0.09,
  'engine.manifold_L': 1.3,
  'engine.peak_torque_rpm': 3000,
  'engine.redline_rpm': 5900,
  'engine.thermostat_C': 84,
  'carb.primaries': 1,
  'carb.venturi_mm': 26,
  'carb.bore_mm': 32,
  'exhaust.volume_L': 1.6,
  'vehicle.mass_kg': 820,
  'vehicle.drag_area_m2': 0.72,
  'vehicle.rolling': 0.013,
  'vehicle.tyre_m': 1.72,
  'vehicle.final_drive': 4.1,
  'vehicle.gears': 4,
  'vehicle.gear_1': 3.6,
  'vehicle.gear_2': 2.15,
  'vehicle.gear_3': 1.4,
  'vehicle.gear_4': 1,
}

/** An invented small car: 1.1 l four, one-barrel carburettor, four-speed manual. */
export const pebble: SimCar = {
  name: 'pebble',
  profile: {
    id: 'pebble',
    name: 'Pebble',
    description: 'invented car: 1.1 l four, one-barrel carburettor, manual',
    engine: { displacement_l: 1.1, cylinders: 4, idle_rpm: 850, thermostat_C: 84 },
    metering: 'carburettor',
    barrels: 1,
    sensor: { curve: 'planar49', bank_names: ['all cylinders'] },
    fuel: { id: 'gasoline_e0' },
    ...roadFigures(parameters),
  },
  parameters,
  right: {
    main_jet: labelled(mainJets, '125'),
    power_restriction: labelled(restrictions, '60'),
    power_valve: labelled(valves, '8.5'),
    idle_screws: labelled(screws, '2'),
    squirter: labelled(squirters, '40'),
    pump_cam: labelled(cams, '2'),
    choke: labelled(chokes, 'index'),
  },
  box: {
    main_jet: mainJets,
    power_restriction: restrictions,
    power_valve: valves,
    idle_screws: screws,
    squirter: squirters,
    pump_cam: cams,
    choke: chokes,
  },
  setups: {
    right: rightSetup,
    lean_main: {
      text: 'main jet three sizes too small',
      fitted: { main_jet: labelled(mainJets, '117.5') },
      wrong: ['main', 'power'],
    },
    rich_main: {
      text: 'main jet four sizes too large',
      fitted: { main_jet: labelled(mainJets, '135') },
      wrong: ['main', 'power'],
    },
    lean_power: {
      text: 'power restriction too small',
      fitted: { power_restriction: labelled(restrictions, '50') },
      wrong: ['power'],
    },
    rich_power: {
      text: 'power restriction too large',
      fitted: { power_restriction: labelled(restrictions, '75') },
      wrong: ['power'],
    },
    lean_idle: {
      text: 'mixture screw too far in',
      fitted: { idle_screws: labelled(screws, '1.5') },
      wrong: ['idle'],
    },
    rich_idle: {
      text: 'mixture screw too far out',
      fitted: { idle_screws: labelled(screws, '2.75') },
      wrong: ['idle'],
    },
    small_squirter: {
      text: 'squirter too small: lean at once',
      fitted: { squirter: labelled(squirters, '30'), pump_cam: labelled(cams, '1') },
      wrong: ['pump'],
    },
    big_cam: {
      text: 'pump shot too large',
      fitted: { pump_cam: labelled(cams, '3'), squirter: labelled(squirters, '50') },
      wrong: ['pump'],
    },
    dead_pump: deadPump,
    ...wrongChokes,
    injected: {
      text: 'converted to throttle-body injection, its table right',
      parameters: { 'injection.fitted': 1 },
      wrong: [],
    },
    injected_lean: {
      text: 'throttle-body injection with a lean cruise and power table',
      parameters: { 'injection.fitted': 1, 'injection.cruise_scale': 0.92, 'injection.power_scale': 0.93 },
      wrong: ['main', 'power'],
    },
  },
}
