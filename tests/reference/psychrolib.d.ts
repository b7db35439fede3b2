// The package ships no types; these are the functions that the tests call (SI: °C, Pa, shares, kg/m³, m).
declare module 'psychrolib' {
  interface Psychrolib {
    readonly SI: unknown
    SetUnitSystem(system: unknown): void
    GetSatVapPres(temperatureC: number): number
    GetTDewPointFromRelHum(temperatureC: number, share: number): number
    GetHumRatioFromRelHum(temperatureC: number, share: number, pressurePa: number): number
    GetMoistAirDensity(temperatureC: number, humidityRatio: number, pressurePa: number): number
    GetStandardAtmPressure(altitudeM: number): number
    GetStationPressure(seaLevelPa: number, altitudeM: number, temperatureC: number): number
  }
  const psychrolib: Psychrolib
  export default psychrolib
}
