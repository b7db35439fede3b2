import {
  AVRADC,
  AVRClock,
  AVRIOPort,
  AVRTimer,
  AVRUSART,
  AVRWatchdog,
  adcConfig,
  avrInstruction,
  CPU,
  clockConfig,
  portBConfig,
  timer1Config,
  usart0Config,
  watchdogConfig,
} from 'avr8js'

const clockHz = 16_000_000
const flashWords = 0x4000
const sramBytes = 2048
const sleepOpcode = 0x9588

// Registers and bits of the input capture unit, which the simulator's timer lacks (data sheet of the chip, timer 1).
const tccr1b = 0x81
const icr1Low = 0x86
const noiseCanceller = 0x80
const risingEdge = 0x40
const noiseCancellerCycles = 4
const captureInterrupt: Parameters<CPU['setInterruptFlag']>[0] = {
  address: timer1Config.captureInterrupt,
  flagRegister: timer1Config.TIFR,
  flagMask: 0x20,
  enableRegister: timer1Config.TIMSK,
  enableMask: 0x20,
}

/** Reads Intel HEX into program memory; throws when a record's checksum does not match. */
export function parseIntelHex(text: string): Uint8Array {
  const bytes = new Uint8Array(flashWords * 2).fill(0xff)
  for (const line of text.split(/\r?\n/)) {
    if (line === '') continue
    const record = Uint8Array.from(line.slice(1).match(/../g) ?? [], (pair) => Number.parseInt(pair, 16))
    if (!line.startsWith(':') || record.reduce((sum, byte) => sum + byte, 0) % 256 !== 0)
      throw new Error(`damaged record of the hex file: ${line}`)
    if (record[3] === 0) bytes.set(record.subarray(4, 4 + record[0]), record[1] * 256 + record[2])
  }
  return bytes
}

/** The reference board's chip running its real firmware, with the wires in the test's hands. */
export interface AvrBoard {
  /** Seconds of the chip's own time since power-up. */
  readonly timeS: number
  /** Voltage at analogue pin n, constant or as a function of time in seconds. */
  setVolts(pin: number, volts: number | ((timeS: number) => number)): void
  /** A pulse to ground at the capture pin (high at rest), e.g. by an optocoupler. Times in seconds from power-up. */
  pulseAt(timeS: number, widthS?: number): void
  /** Evenly spaced pulses in [fromS, toS). */
  spin(rpm: number, pulsesPerTurn: number, fromS: number, toS: number): void
  /** Bytes into the board's serial input, at the wire's own pace. */
  send(text: string): void
  /** Runs the firmware for so many seconds. */
  run(seconds: number): void
  /** What the board sent since the last call. */
  take(): string
  /** Makes every byte take so many times longer on the wire, as a blocked adapter would. */
  slowWire(factor: number): void
  /** While true no conversion of the analogue-digital converter ends. */
  stallConverter(stalled: boolean): void
}

/** `onByte` is told each byte as the board hands it to the wire. */
export function createAvrBoard(hex: string, onByte?: (byte: number) => void): AvrBoard {
  const cpu = new CPU(new Uint16Array(parseIntelHex(hex).buffer), sramBytes)
  const timer = new AVRTimer(cpu, timer1Config)
  // The simulator's timer asks to be called at every count. Only its overflow matters here, and reading it brings it up to date:
  // called once a round it gives the same counts several times faster.
  const addClockEvent = cpu.addClockEvent.bind(cpu)
  cpu.addClockEvent = (callback, cycles) => {
    const divider = callback === timer['count'] ? timer['divider'] : 0
    return addClockEvent(callback, cycles + (0xffff - timer.debugTCNT) * divider)
  }
  const clock = new AVRClock(cpu, clockHz, clockConfig)
  new AVRIOPort(cpu, portBConfig)
  new AVRWatchdog(cpu, watchdogConfig, clock)
  const adc = new AVRADC(cpu, adcConfig)
  const usart = new AVRUSART(cpu, usart0Config, clockHz)

  const volts: (number | ((timeS: number) => number))[] = new Array(8).fill(0)
  let isStalled = false
  let isWaiting = false
  const convert = (channel: number) => {
    const source = volts[channel]
    const pinV = typeof source === 'number' ? source : source(cpu.cycles / clockHz)
    const steps = Math.floor((pinV / adc.referenceVoltage) * 1024)
    adc.completeADCRead(Math.min(Math.max(steps, 0), 1023))
  }
  adc.onADCRead = (input) => {
    if (isStalled) isWaiting = true
    else cpu.addClockEvent(() => convert('channel' in input ? input.channel : 0), adc.sampleCycles)
  }

  let sent: string[] = []
  usart.onByteTransmit = (byte) => {
    sent.push(String.fromCharCode(byte))
    onByte?.(byte)
  }
  const input: number[] = []
  const feed = () => {
    if (input.length > 0 && usart.writeByte(input[0])) input.shift()
  }
  usart.onRxComplete = feed

  // A reset by the watchdog clears the chip's registers; the simulator leaves them as they were.
  const jumpToStart = cpu.reset.bind(cpu)
  cpu.reset = () => {
    cpu.data.fill(0, 0x20, 0x100)
    usart.reset()
    jumpToStart()
  }

  // The timer's own hooks do not know the capture flag: a one written to it clears it, and enabling it later must find it.
  const timerFlagHook = cpu.writeHooks[timer1Config.TIFR]
  cpu.writeHooks[timer1Config.TIFR] = (value, old, address, mask) => {
    const keeps = old & captureInterrupt.flagMask & ~value
    timerFlagHook(value, old, address, mask)
    cpu.data[timer1Config.TIFR] = (cpu.data[timer1Config.TIFR] & ~captureInterrupt.flagMask) | keeps
    if (!keeps) cpu.clearInterrupt(captureInterrupt)
    return true
  }
  const timerMaskHook = cpu.writeHooks[timer1Config.TIMSK]
  cpu.writeHooks[timer1Config.TIMSK] = (value, old, address, mask) => {
    cpu.updateInterruptEnable(captureInterrupt, value)
    return timerMaskHook(value, old, address, mask)
  }

  const edges: { cycle: number; isRising: boolean }[] = []
  let isSorted = true
  const addEdge = (cycle: number, isRising: boolean) => {
    if (edges.length > 0 && edges[edges.length - 1].cycle > cycle) isSorted = false
    edges.push({ cycle, isRising })
  }
  const capture = (isRising: boolean) => {
    if (isRising !== ((cpu.data[tccr1b] & risingEdge) !== 0)) return
    // Reading the counter through its hook brings it up to this cycle.
    cpu.readData(timer1Config.TCNT)
    cpu.data[icr1Low] = timer.debugTCNT & 0xff
    cpu.data[icr1Low + 1] = timer.debugTCNT >> 8
    cpu.setInterruptFlag(captureInterrupt)
  }

  return {
    get timeS() {
      return cpu.cycles / clockHz
    },
    setVolts(pin, value) {
      volts[pin] = value
    },
    pulseAt(timeS, widthS = 0.001) {
      const start = Math.round(timeS * clockHz)
      const widthCycles = Math.round(widthS * clockHz)
      // The hardware's noise canceller wants four equal readings in a row; that it is on is the firmware's merit.
      if (cpu.data[tccr1b] & noiseCanceller && widthCycles < noiseCancellerCycles) return
      addEdge(start, false)
      addEdge(start + widthCycles, true)
    },
    spin(rpm, pulsesPerTurn, fromS, toS) {
      const periodS = 60 / (rpm * pulsesPerTurn)
      const count = Math.floor((toS - fromS) / periodS)
      for (let i = 0; i < count; i++) this.pulseAt(fromS + i * periodS, Math.min(0.001, periodS / 3))
    },
    send(text) {
      for (const character of text) input.push(character.charCodeAt(0))
      if (!usart.rxBusy) feed()
    },
    run(seconds) {
      const end = cpu.cycles + seconds * clockHz
      if (!isSorted) edges.sort((a, b) => a.cycle - b.cycle)
      isSorted = true
      while (cpu.cycles < end) {
        while (edges.length > 0 && edges[0].cycle <= cpu.cycles) capture(edges.shift()!.isRising)
        const isAsleep = cpu.progMem[cpu.pc] === sleepOpcode
        avrInstruction(cpu)
        cpu.tick()
        if (!isAsleep) continue
        // Nothing changes until the next peripheral event: go there at once, until one of them wakes the processor.
        const wakeAt = Math.min(end, edges[0]?.cycle ?? end)
        const pc = cpu.pc
        while (cpu.pc === pc && cpu.nextInterrupt < 0 && cpu.cycles < wakeAt) {
          cpu.cycles = Math.max(cpu.cycles, Math.min(wakeAt, cpu['nextClockEvent']?.cycles ?? wakeAt))
          cpu.tick()
        }
      }
    },
    take() {
      const text = sent.join('')
      sent = []
      return text
    },
    slowWire(factor) {
      const nominal = Object.getOwnPropertyDescriptor(AVRUSART.prototype, 'cyclesPerChar')!.get!
      Object.defineProperty(usart, 'cyclesPerChar', {
        configurable: true,
        get: () => nominal.call(usart) * factor,
      })
    },
    stallConverter(stalled) {
      isStalled = stalled
      if (stalled || !isWaiting) return
      isWaiting = false
      adc.completeADCRead(0)
    },
  }
}
