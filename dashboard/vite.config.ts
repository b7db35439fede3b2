import { svelte } from '@sveltejs/vite-plugin-svelte'
import { defineConfig, type Plugin } from 'vite'

/** Lists every built file in `files.json`, from which the service worker fills its store. */
const fileList: Plugin = {
  name: 'file-list',
  generateBundle(_options, bundle) {
    const files = Object.keys(bundle).filter((name) => !name.endsWith('.woff'))
    this.emitFile({ type: 'asset', fileName: 'files.json', source: JSON.stringify(files) })
  },
}

export default defineConfig({
  root: new URL('.', import.meta.url).pathname,
  plugins: [svelte({ configFile: false }), fileList],
  worker: { format: 'es' },
  build: {
    outDir: '../dist/web',
    emptyOutDir: true,
    target: 'es2022',
    // Fonts stay files: a strict content policy need not allow data addresses for them.
    assetsInlineLimit: 0,
    chunkSizeWarningLimit: 1500,
    // How long which plugin took is no warning to somebody who starts the program for the first time.
    rolldownOptions: { checks: { pluginTimings: false } },
  },
  server: {
    proxy: { '/api': 'http://127.0.0.1:4810', '/live': { target: 'ws://127.0.0.1:4810', ws: true } },
  },
})
