import { readFileSync } from 'node:fs'
import { scanCapture } from '../../core/capture/scanCapture.ts'

/* Reads one capture file to whole columns in a process of its own and prints, as JSON, what that took. Started by decode.ts. */

const bytes = readFileSync(process.argv[2])
const start = process.cpuUsage()
const { counts } = scanCapture(bytes)
const { user, system } = process.cpuUsage(start)
const peakBytes = process.resourceUsage().maxRSS * 1024
console.log(JSON.stringify({ samples: counts.samples, seconds: (user + system) / 1e6, peakBytes }))
