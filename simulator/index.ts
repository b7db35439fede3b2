export { carNames, cars, findCar } from './cars.ts'
export { channelNames, channelSets } from './channels.ts'
export { type Drive, type DriveStep, driveFileSchema, parseDrive } from './driveSteps.ts'
export { type DriveName, driveNames } from './drives.ts'
export { type ExpectedLambda, expectedLambda } from './expectedLambda.ts'
export { createLiveSimulator, type LiveSimulator, type TruthNow } from './live.ts'
export {
  nearNames,
  type ParameterChanges,
  type ParameterKey,
  parameterKeys,
  parameterTable,
} from './parameters.ts'
export { describeEverything, partsFile } from './partsFile.ts'
export { randomCar, randomSetup } from './randomCar.ts'
export { randomDrive, randomNoise, randomRun } from './randomRun.ts'
export { type SimulatedRun, simulateRun } from './run.ts'
export { resolveRun, type SimulateOptions } from './runOptions.ts'
export { isDriveName, parseSettings, partFromText, setKeys } from './setKeys.ts'
export type { Setup, SimCar } from './simCar.ts'
export type { Truth, TruthEvent, TruthSteady } from './truth.ts'
export { truthToJson } from './truthJson.ts'
