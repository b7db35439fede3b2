/**
 * `floatbowl/core`: the mixture arithmetic, the board's lines, capture files, the streaming analysis, comparison and advice, without any input or
 * output. Units are in the names; a value that cannot be given is NaN; a caller's mistake throws `RangeError` with the value in its text.
 */

export { densityAltitudeM } from './air/densityAltitude.ts'
export { airDensityKgM3 } from './air/humidAir.ts'
export { powerCorrection, powerCorrectionLimits } from './air/powerCorrection.ts'
export { saturationPressureKpa } from './air/saturationPressure.ts'
export { pressureAltitudeM, standardAtmosphere } from './air/standardAtmosphere.ts'
export { stationPressureKpa } from './air/stationPressure.ts'
export { CaptureError } from './capture/captureError.ts'
export { type CaptureScanner, createCaptureScanner } from './capture/captureScanner.ts'
export type { CaptureSink } from './capture/captureSink.ts'
export { captureHeader, formatCaptureLine } from './capture/formatCapture.ts'
export { type ScannedCapture, scanCapture } from './capture/scanCapture.ts'
export type { AdviceResult, Change, ComparisonResult } from './contract/advice.ts'
export {
  type Air,
  type Box,
  type CarProfile,
  defaultTargets,
  type Fitted,
  type Part,
  type Targets,
} from './contract/car.ts'
export type { LiveReading } from './contract/live.ts'
export type { Pipeline, PipelineOptions } from './contract/pipeline.ts'
export type { CaptureRecord, TimedNotice, TimedRecord } from './contract/records.ts'
export type { AnalysisResult, RunAnalysis, SteadyPiece } from './contract/result.ts'
export type { BoardEvent, ChannelDeclaration, LineCounts, SampleBlock } from './contract/samples.ts'
export { stoichiometricRatio } from './fuel/composition.ts'
export { estimateLambdaFromExhaustGas, lambdaFromExhaustGas } from './fuel/exhaustGas.ts'
export { blendFuels, ethanolBlend, type Fuel, fuels } from './fuel/fuels.ts'
export { afrFromLambda, lambdaFromAfr } from './fuel/mixtureRatio.ts'
export { type BoardDecoder, createBoardDecoder } from './line/boardDecoder.ts'
export type { BadLine, BoardLine } from './line/boardLine.ts'
export { crc16 } from './line/crc16.ts'
export { decodeLine } from './line/decodeLine.ts'
export { encodeLine } from './line/encodeLine.ts'
export { createGpsDecoder } from './line/gpsDecoder.ts'
export { analyseCapture } from './pipeline/analyseCapture.ts'
export { createPipeline } from './pipeline/createPipeline.ts'
export { cellTemperatureC } from './sensing/cellTemperature.ts'
export { checkFreeAir, freeAirGain } from './sensing/freeAir.ts'
export { lambdaUncertainty } from './sensing/lambdaUncertainty.ts'
export { planar42, planar49 } from './sensing/planarSensors.ts'
export { explainPumpCurrent, lambdaFromPumpCurrent, pumpCurrentFromLambda } from './sensing/pumpCurrent.ts'
export { sensorReadiness } from './sensing/readiness.ts'
export { createSensorCurve, type SensorCurve } from './sensing/sensorCurve.ts'
export { thermistorTemperatureC } from './sensing/thermistor.ts'
export { fitSteinhartHart } from './sensing/thermistorFit.ts'
export { thermocoupleTemperatureC } from './sensing/thermocouple.ts'
export { parseSensorCurve } from './sensing/userSensor.ts'
export { advise } from './tuning/advise.ts'
export { compareRuns } from './tuning/compareRuns.ts'
export { drillDiameterMm } from './tuning/drills.ts'
export { areaFactor, boreForAreaFactorMm, jetAreaMm2, rodJetAreaMm2 } from './tuning/jetArea.ts'
export { convertUnit } from './units/convert.ts'
