import { spawn, spawnSync } from 'node:child_process'
import { createServer } from 'node:net'
import { afterEach, describe, expect, it } from 'vitest'
import { createClock } from '../../bridge/clock.ts'
import { type Logger, silentLogger } from '../../bridge/logger.ts'
import { createGpsLines } from '../../bridge/source/decoders.ts'
import { createGpsdSource } from '../../bridge/source/gpsdSource.ts'
import { parseNetworkAddress } from '../../bridge/source/socketWire.ts'
import { openPty } from '../support/pty.ts'

const endings: (() => void | Promise<void>)[] = []
afterEach(async () => {
  for (const end of endings.splice(0).reverse()) await end()
})

function withChecksum(body: string): string {
  let sum = 0
  for (const character of body) sum ^= character.charCodeAt(0)
  return `$${body}*${sum.toString(16).toUpperCase().padStart(2, '0')}`
}

/** An epoch of the NOAA log of 14 Jan 2020 (downloads.psl.noaa.gov, ATOMIC 2020), at another second and speed. */
function epoch(second: number): string {
  const clock = `1959${String(second % 60).padStart(2, '0')}.00`
  const place = '1541.31258893,N,05130.51204125,W'
  return [
    withChecksum(`GPGGA,${clock},${place},2,06,1.5,9.2,M,-37.6,M,4.0,0138`),
    withChecksum(`GPRMC,${clock},A,${place},12.26,147.44,140120,16.9,W,D`),
    '',
  ].join('\r\n')
}

interface Heard {
  speedsMs: number[]
  heightsM: number[]
  text: string
  warnings: string[]
}

/** The source and the decoder as the bridge joins them; `enough` is asked after each block. */
function listen(address: string, enough: (heard: Heard) => boolean): Promise<Heard> {
  const heard: Heard = { speedsMs: [], heightsM: [], text: '', warnings: [] }
  const logger: Logger = { ...silentLogger, warn: (text) => heard.warnings.push(text) }
  const source = createGpsdSource({ address, clock: createClock(), logger })
  endings.push(() => source.stop())
  return new Promise((resolve) => {
    const decoder = createGpsLines(1, {
      block({ columns }) {
        heard.speedsMs.push(columns[0][0])
        heard.heightsM.push(columns[1][0])
      },
      event() {},
      identity() {},
    })
    const look = () => {
      if (enough(heard)) resolve(heard)
    }
    source.start({
      bytes(chunk, arrivalS) {
        heard.text += Buffer.from(chunk).toString('latin1')
        decoder.push(chunk, arrivalS)
        look()
      },
      wire: look,
    })
  })
}

describe('gpsd as a position receiver', () => {
  const hasGpsd = spawnSync('gpsd', ['-V']).status === 0

  it.skipIf(!hasGpsd)(
    'is read through Debian’s real gpsd, fed by a pseudo-terminal (needs gpsd)',
    async () => {
      const pty = openPty()
      endings.push(() => pty.hangUp())
      const port = 4961
      const daemon = spawn('gpsd', ['-N', '-n', '-S', String(port), pty.path], { stdio: 'ignore' })
      endings.push(() => {
        daemon.kill('SIGKILL')
      })
      let second = 0
      const feed = setInterval(() => pty.master.write(epoch(second++)), 200)
      endings.push(() => clearInterval(feed))
      const { speedsMs, heightsM, text } = await listen(
        `gpsd://127.0.0.1:${port}`,
        (heard) => heard.speedsMs.length >= 5 && heard.heightsM.some((height) => !Number.isNaN(height)),
      )
      // 12.26 kn; the service may write the sentences anew, with fewer digits.
      for (const speedMs of speedsMs) expect(speedMs).toBeCloseTo(12.26 * (1852 / 3600), 1)
      expect(heightsM.find((height) => !Number.isNaN(height))).toBeCloseTo(9.2, 1)
      expect(text).not.toContain('{')
    },
  )

  it('passes sentences on and keeps the service’s own messages to itself', async () => {
    let asked = ''
    const server = createServer((socket) => {
      socket.write('{"class":"VERSION","release":"3.22","proto_major":3,"proto_minor":14}\r\n')
      socket.on('data', (chunk) => {
        asked += chunk.toString()
        socket.write('{"class":"DEVICES","devices":[]}\r\n{"class":"ERROR","message":"no such thing"}\r\n')
        // Cut in the middle of a sentence: the halves come in two packets.
        socket.write(epoch(1).slice(0, 40))
        setImmediate(() => socket.write(epoch(1).slice(40)))
      })
    })
    await new Promise<void>((resolve) => server.listen(4962, '127.0.0.1', resolve))
    endings.push(() => new Promise<void>((resolve) => server.close(() => resolve())))
    const { text, speedsMs, warnings } = await listen(
      'gpsd://127.0.0.1:4962',
      (heard) => heard.speedsMs.length > 0,
    )
    expect(asked).toBe('?WATCH={"enable":true,"json":false,"nmea":true};\n')
    expect(text).toBe(epoch(1))
    expect(speedsMs[0]).toBeCloseTo(6.307, 3)
    expect(warnings.some((warning) => warning.includes('no receiver'))).toBe(true)
    expect(warnings.some((warning) => warning.includes('no such thing'))).toBe(true)
  })

  it.each([
    ['gpsd://localhost', 'localhost', 2947],
    ['gpsd://10.0.0.7:3000', '10.0.0.7', 3000],
    ['gpsd://[::1]:2947/', '::1', 2947],
  ])('parseNetworkAddress takes %s apart', (address, host, port) => {
    expect(parseNetworkAddress('gpsd', address, 2947)).toEqual({ host, port })
  })

  it.each(['gpsd:', 'gpsd://', 'gpsd://a b', 'gpsd://host:0', 'gpsd://host:99999', '/dev/ttyUSB0'])(
    'parseNetworkAddress refuses %s with its text',
    (address) => {
      expect(() => parseNetworkAddress('gpsd', address, 2947)).toThrow(RangeError)
      expect(() => parseNetworkAddress('gpsd', address, 2947)).toThrow(address)
    },
  )
})
