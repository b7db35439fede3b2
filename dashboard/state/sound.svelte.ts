export type SoundKind = 'warning' | 'caution'

/** A context whose clock stands still for so long plays nothing, whatever its state says, ms. */
const frozenMs = 700
const watchMs = 100

/** Pulses of each kind: start and length in seconds, frequency in Hz. All within 500–3000 Hz (MIL-STD-1472E 5.3.2.4). */
const pulses: Readonly<Record<SoundKind, readonly (readonly [number, number, number])[]>> = {
  warning: [
    [0, 0.12, 1568],
    [0.18, 0.12, 1568],
    [0.36, 0.12, 1568],
  ],
  caution: [
    [0, 0.22, 784],
    [0.28, 0.22, 988],
  ],
}

/** The alarm's voice. Browsers give none before a tap, and take it away (calls, other apps): so its state is always shown. */
export class Sound {
  #context: AudioContext | undefined
  #isOn = $state.raw(false)
  #asking = $state.raw(false)
  #clockS = -1
  #movedMs = 0
  /** False: nothing would be heard now. */
  get isOn(): boolean {
    return this.#isOn
  }
  /** The test sound was played and its question is open. */
  get isAsking(): boolean {
    return this.#asking
  }

  /** Listens for taps, in which alone a browser lets sound begin. Returns what ends it. */
  watch(target: Document = document): () => void {
    const tap = () => this.unlock()
    const timer = setInterval(() => this.#check(), watchMs)
    target.addEventListener('pointerup', tap, true)
    target.addEventListener('keydown', tap, true)
    return () => {
      clearInterval(timer)
      target.removeEventListener('pointerup', tap, true)
      target.removeEventListener('keydown', tap, true)
      this.#drop()
    }
  }

  /** Inside a tap: makes the context, wakes it, or builds it anew when it is beyond waking. */
  unlock(): void {
    if (this.#isOn) return
    const context = this.#context
    if (context?.state === 'suspended') {
      context.resume().then(
        () => this.#check(),
        () => this.#drop(),
      )
      return
    }
    this.#drop()
    if (typeof AudioContext === 'undefined') return
    try {
      this.#context = new AudioContext({ latencyHint: 'interactive' })
    } catch {
      // No sound device, or too many contexts: SOUND OFF says so.
      return
    }
    this.#clockS = -1
    this.#movedMs = performance.now()
    this.#context.onstatechange = () => this.#check()
    this.#context.resume().then(
      () => this.#check(),
      () => this.#drop(),
    )
  }

  play(kind: SoundKind): void {
    const context = this.#context
    if (context?.state !== 'running') return
    const out = context.createGain()
    out.gain.value = 0.9
    out.connect(context.destination)
    const beginS = context.currentTime + 0.01
    for (const [startS, lengthS, hertz] of pulses[kind]) {
      const tone = context.createOscillator()
      const envelope = context.createGain()
      tone.type = 'square'
      tone.frequency.value = hertz
      envelope.gain.setValueAtTime(0, beginS + startS)
      envelope.gain.linearRampToValueAtTime(1, beginS + startS + 0.008)
      envelope.gain.setValueAtTime(1, beginS + startS + lengthS - 0.015)
      envelope.gain.linearRampToValueAtTime(0, beginS + startS + lengthS)
      tone.connect(envelope).connect(out)
      tone.start(beginS + startS)
      tone.stop(beginS + startS + lengthS)
    }
  }

  /** Plays the warning and asks whether it was heard. */
  test(): void {
    this.unlock()
    this.#asking = true
    // The context may wake only after this tap: play as soon as it runs.
    const context = this.#context
    if (context && context.state !== 'running') {
      context.resume().then(
        () => this.play('warning'),
        () => this.#drop(),
      )
    } else this.play('warning')
  }

  answered(): void {
    this.#asking = false
  }

  #check(): void {
    const context = this.#context
    const nowMs = performance.now()
    if (context && context.currentTime !== this.#clockS) {
      this.#clockS = context.currentTime
      this.#movedMs = nowMs
    }
    const isOn = context?.state === 'running' && nowMs - this.#movedMs < frozenMs
    if (isOn !== this.#isOn) this.#isOn = isOn
  }

  #drop(): void {
    const context = this.#context
    this.#context = undefined
    this.#isOn = false
    if (!context || context.state === 'closed') return
    context.onstatechange = null
    context.close().catch(() => {
      // Closing a broken context may fail; it is let go of in any case.
    })
  }
}
