import { killWhileRecording } from '../support/killDrill.ts'

/** Kills a recording bridge at random moments: `tsx tests/bench/kill.ts [times]`, default 500; a few go on at a time. */
const times = Number(process.argv[2] ?? 500)
const atOnce = 2
let seed = 20240504

function random(): number {
  seed = (Math.imul(seed, 1664525) + 1013904223) >>> 0
  return seed / 2 ** 32
}

let begun = 0
let unreadable = 0
let torn = 0
let over = 0
const lost: number[] = []

async function drill(): Promise<void> {
  while (begun < times) {
    begun++
    const outcome = await killWhileRecording(random() * 1500, { bundle: true })
    unreadable += outcome.unreadable
    if (outcome.tornEnd) torn++
    if (!(outcome.lostS <= 1)) over++
    lost.push(outcome.lostS)
    if (lost.length % 50 === 0) console.error(`${lost.length} of ${times}`)
  }
}

await Promise.all(Array.from({ length: atOnce }, drill))
lost.sort((a, b) => a - b)
const at = (share: number) => lost[Math.min(lost.length - 1, Math.floor(share * lost.length))].toFixed(3)
console.log(
  `kill -9 while recording: ${times - over} of ${times} lost at most 1 s, unreadable files ${unreadable}`,
)
console.log(`lost s: p50 ${at(0.5)}, p99 ${at(0.99)}, most ${at(1)}; torn last lines ${torn}`)
