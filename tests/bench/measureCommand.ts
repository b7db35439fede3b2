import { spawn } from 'node:child_process'
import { fileURLToPath } from 'node:url'

const program = fileURLToPath(new URL('../../dist/node/floatbowl.js', import.meta.url))

/** Runs the built command and measures it; memory is the greatest resident set that the process itself reports. */
export function measureCommand(
  words: readonly string[],
): Promise<{ wallS: number; cpuS: number; memoryMb: number }> {
  return new Promise((resolve, reject) => {
    const start = performance.now()
    const report =
      'process.on("exit",()=>{const u=process.resourceUsage();process.stderr.write(JSON.stringify({cpuS:(u.userCPUTime+u.systemCPUTime)/1e6,memoryMb:u.maxRSS/1024}))})'
    const child = spawn(
      process.execPath,
      ['--import', `data:text/javascript,${encodeURIComponent(report)}`, program, ...words],
      { stdio: ['ignore', 'ignore', 'pipe'] },
    )
    let text = ''
    child.stderr.on('data', (chunk) => {
      text += chunk
    })
    child.on('error', reject)
    child.on('close', (code) => {
      if (code !== 0) reject(new Error(`${words[0]} ended with ${code}: ${text}`))
      else
        resolve({
          wallS: (performance.now() - start) / 1000,
          ...JSON.parse(text.slice(text.lastIndexOf('{'))),
        })
    })
  })
}
