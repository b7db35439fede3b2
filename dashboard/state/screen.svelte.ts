export type ScreenState = 'held' | 'clip' | 'refused' | 'absent' | 'free'

const screenTexts: Readonly<Record<ScreenState, string>> = {
  held: 'Screen stays on: yes',
  clip: 'Screen stays on: perhaps – a clip is playing. Set the screen timeout to its longest as well',
  refused: 'Screen stays on: no – tap once to keep it on, or set the screen timeout to its longest',
  absent: 'Screen stays on: no – set the screen timeout to its longest and keep the tablet charging',
  free: 'Screen stays on: asked for while Drive is open',
}

/**
 * Keeps the screen on while the drive page is open: by the browser's wake lock where there is one (secure contexts only), else by a
 * playing clip, which no browser promises to honour. Never claims more than it has.
 */
export class Screen {
  #state = $state.raw<ScreenState>('free')
  #lock: WakeLockSentinel | undefined
  #video: HTMLVideoElement | undefined
  #wanted = false

  get state(): ScreenState {
    return this.#state
  }
  /** One line: yes, or no with the way out. */
  get text(): string {
    return screenTexts[this.#state]
  }
  get maySleep(): boolean {
    return this.#state !== 'held' && this.#state !== 'free'
  }

  /** From now until the returned call the screen should stay on. */
  want(): () => void {
    this.#wanted = true
    this.#ask()
    const back = () => {
      if (document.visibilityState === 'visible') this.#ask()
    }
    // Some systems grant the lock only inside a tap, and the clip always needs one.
    const tap = () => {
      if (this.#state !== 'held') this.#ask(true)
    }
    document.addEventListener('visibilitychange', back)
    document.addEventListener('pointerup', tap)
    return () => {
      this.#wanted = false
      document.removeEventListener('visibilitychange', back)
      document.removeEventListener('pointerup', tap)
      this.#release()
    }
  }

  #ask(inTap = false): void {
    if (!('wakeLock' in navigator) || !isSecureContext) {
      if (this.#state !== 'clip') this.#state = 'absent'
      if (inTap) this.#playClip()
      return
    }
    if (this.#lock && !this.#lock.released) return
    navigator.wakeLock.request('screen').then(
      (lock) => {
        if (!this.#wanted) {
          void lock.release()
          return
        }
        this.#lock = lock
        this.#state = 'held'
        lock.addEventListener('release', () => {
          if (this.#wanted && this.#lock === lock) this.#state = 'refused'
        })
      },
      () => {
        this.#state = 'refused'
        if (inTap) this.#playClip()
      },
    )
  }

  /** A drawn picture with a silent sound track, in the page and in sight: what keeps some screens on. */
  #playClip(): void {
    if (this.#video) return
    const canvas = document.createElement('canvas')
    canvas.width = 4
    canvas.height = 4
    if (!canvas.captureStream || typeof AudioContext === 'undefined') return
    const brush = canvas.getContext('2d')
    const stream = canvas.captureStream(2)
    let shade = 0
    const repaint = setInterval(() => {
      shade = (shade + 1) % 8
      if (brush) {
        brush.fillStyle = `rgb(${shade} ${shade} ${shade})`
        brush.fillRect(0, 0, 4, 4)
      }
    }, 500)
    const audio = new AudioContext()
    for (const track of audio.createMediaStreamDestination().stream.getAudioTracks()) stream.addTrack(track)
    const video = document.createElement('video')
    video.className = 'keep-awake'
    video.playsInline = true
    video.setAttribute('aria-hidden', 'true')
    video.tabIndex = -1
    video.srcObject = stream
    document.body.append(video)
    this.#video = video
    const over = () => {
      clearInterval(repaint)
      audio.close().catch(() => {
        // Already closed.
      })
      video.remove()
      if (this.#video === video) this.#video = undefined
      if (this.#state === 'clip') this.#state = 'absent'
    }
    video.onplaying = () => {
      if (this.#state !== 'held') this.#state = 'clip'
    }
    video.onpause = over
    video.play().catch(over)
  }

  #release(): void {
    const lock = this.#lock
    this.#lock = undefined
    if (lock && !lock.released) void lock.release()
    this.#video?.pause()
    this.#state = 'free'
  }
}
