import { chmodSync } from 'node:fs'
import { defineConfig, type Plugin } from 'vite'

const root = new URL('..', import.meta.url).pathname

/** The command can be started by its file name. */
const executable: Plugin = {
  name: 'executable',
  writeBundle() {
    chmodSync(`${root}dist/node/floatbowl.js`, 0o755)
  },
}

/**
 * Bundles the bridge, the command line and the simulator. Packages stay outside but those that every command waits for: read as one file, not as
 * a hundred, they save each command a sixth of a second.
 */
export default defineConfig({
  root,
  publicDir: false,
  plugins: [executable],
  ssr: { noExternal: ['commander', 'nmea-simple', 'zod'] },
  build: {
    ssr: true,
    target: 'node20',
    outDir: 'dist/node',
    emptyOutDir: true,
    minify: false,
    rolldownOptions: {
      input: {
        floatbowl: `${root}bridge/main.ts`,
        commandThread: `${root}bridge/cli/commandThread.ts`,
        pipelineThread: `${root}bridge/analysis/pipelineThread.ts`,
      },
      output: { entryFileNames: '[name].js', chunkFileNames: 'parts/[name]-[hash].js' },
    },
  },
})
