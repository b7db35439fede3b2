import { describe, expect, it } from 'vitest'
import type { SampleBlock } from '../../core/contract/samples.ts'
import { createGpsDecoder, type GpsFix } from '../../core/line/gpsDecoder.ts'

const withChecksum = (body: string) => {
  let sum = 0
  for (const c of body) sum ^= c.charCodeAt(0)
  return `$${body}*${sum.toString(16).toUpperCase().padStart(2, '0')}`
}
const rmc = (clock: string, knots: string, status = 'A') =>
  withChecksum(`GNRMC,${clock},${status},4807.0380,N,01131.0000,E,${knots},084.4,141124,,,A`)

function decode(lines: [string, number][]) {
  const fixes: GpsFix[] = []
  const speeds: number[] = []
  const decoder = createGpsDecoder({
    fix: (fix) => fixes.push(fix),
    block: (block: SampleBlock) => speeds.push(block.columns[0][0]),
  })
  for (const [line, at] of lines) decoder.push(line, at)
  return { fixes, speeds, counts: decoder.counts }
}

describe('createGpsDecoder', () => {
  it('reads the widely copied example sentences (speed 22.4 kn = 11.52356 m/s, height 545.4 m)', () => {
    const { fixes } = decode([
      ['$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47', 10],
      ['$GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W*6A', 10.1],
    ])
    expect(fixes).toHaveLength(1)
    expect(fixes[0].speedMs).toBeCloseTo(11.52356, 5)
    expect(fixes[0].latitudeDeg).toBeCloseTo(48.1173, 6)
    expect(fixes[0].longitudeDeg).toBeCloseTo(11.51666667, 6)
    expect(fixes[0].altitudeM).toBe(545.4)
    expect(new Date(fixes[0].utcMs).toISOString()).toBe('1994-03-23T12:35:19.000Z')
  })

  it('reads sentences of public logs (NOAA ATOMIC 2020, Deltares Markermeer 2007)', () => {
    const { fixes, counts } = decode([
      ['$GPGGA,195959.00,1541.31258893,N,05130.51204125,W,2,06,1.5,9.2,M,-37.6,M,4.0,0138*7E', 1],
      ['$GPRMC,195959.00,A,1541.31258893,N,05130.51204125,W,0.26,147.44,140120,16.9,W,D*0B', 1],
      ['$GPVTG,147.44,T,164.31,M,0.26,N,0.49,K,D*2C', 1],
      ['$GPZDA,195959.00,14,01,2020,00,00*6A', 1],
    ])
    expect(fixes).toHaveLength(1)
    expect(fixes[0].speedMs).toBeCloseTo(0.133756, 5)
    expect(fixes[0].longitudeDeg).toBeCloseTo(-51.50853402, 7)
    expect(counts).toMatchObject({ sentences: 4, badChecksum: 0, passedOver: 1, fixes: 1 })
  })

  it("passes over a receiver maker's own sentences, and counts what makes no sense as unreadable", () => {
    const { fixes, counts } = decode([
      [withChecksum('PXYZ,00,120000.00,4807.038,N'), 1],
      [withChecksum('PXYZ011,ready'), 2],
      [withChecksum('GPTXT,01,01,02,antenna open').toLowerCase().replace('$gptxt', '$GPTXT'), 3],
      ['receiver 3.1 starting', 4],
      [withChecksum('GPRMC,nonsense'), 5],
    ])
    expect(fixes).toHaveLength(0)
    expect(counts).toMatchObject({ sentences: 5, passedOver: 3, unreadable: 2, badChecksum: 0 })
  })

  it('rejects wrong, missing and cut-off checksums and counts them', () => {
    const { fixes, counts } = decode([
      ['$GPRMC,170047.00,A,4121.23302,N,00201.31654,W,2.703, ,200417, , ,A*64', 1],
      ['$GPGGA,195959.00,1541.31258893,N,05130.51204125,W,2,06,1.5,9.3,M,-37.6,M,4.0,0138*7E', 2],
      ['$GPGGA,195959.00,1541.31258893,N,05130.51204125,W,2,06,1.5,9.2,M,-37.6,M,4.0,0138', 3],
      ['$GPGGA,195959.00,1541.31258893,N,05130.5', 4],
    ])
    expect(fixes).toHaveLength(0)
    expect(counts.badChecksum).toBe(4)
  })

  it('gives nothing, and no zero speed, while the fix is lost or the speed field is empty', () => {
    const { fixes, speeds, counts } = decode([
      [rmc('120000.00', '', 'V'), 1],
      [rmc('120001.00', ''), 2],
      [rmc('120002.00', '10.0'), 3],
    ])
    expect(counts.withoutFix).toBe(1)
    expect(fixes).toHaveLength(2)
    expect(speeds[0]).toBeNaN()
    expect(speeds[1]).toBeCloseTo(5.14444, 4)
  })

  it('lays samples at the time of the fix: late arrivals do not jitter the times', () => {
    const late = [0.1, 0.3, 0.15, 0.45, 0.1, 0.22]
    const { fixes } = decode(late.map((d, i) => [rmc(`12000${i}.00`, '20.0'), 100 + i + d]))
    for (let i = 0; i < late.length; i++) expect(fixes[i].timeS).toBeCloseTo(100.1 + i, 3)
  })

  it('follows a receiver clock that jumps by more than two seconds', () => {
    const { fixes } = decode([
      [rmc('120000.00', '20.0'), 100],
      [rmc('120001.00', '20.0'), 101],
      [rmc('120001.50', '20.0'), 110],
    ])
    expect(fixes[2].timeS).toBeCloseTo(110, 6)
  })

  it('makes samples from VTG and GGA when the receiver sends no RMC', () => {
    const gga = '$GPGGA,132421.00,5231.91448,N,00516.97727,E,1,04,4.6,6.6,M,46.6,M,,*62'
    const vtg = '$GPVTG,353.67,T,353.86,M,1.43,N,2.65,K,A*2B'
    const { fixes } = decode([
      [gga, 5],
      [vtg, 5.1],
    ])
    expect(fixes).toHaveLength(1)
    expect(fixes[0].speedMs).toBeCloseTo((1.43 * 1852) / 3600, 6)
    expect(fixes[0].altitudeM).toBe(6.6)
  })

  it('never throws on noise', () => {
    const { counts } = decode([
      ['', 0],
      ['\u0000\uffff$$$***', 1],
      [`$GPRMC,${'9'.repeat(500)}*00`, 2],
      [withChecksum('GPRMC,,,,,,,,,,,'), 3],
      [withChecksum('GPGGA,,,,,,,,,,,,,,'), 4],
    ])
    expect(counts.fixes).toBe(0)
  })
})
