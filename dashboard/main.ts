import './contentPolicy.ts'
import './languageGuard.ts'
import '@fontsource/b612/latin-400.css'
import '@fontsource/b612/latin-700.css'
import 'uplot/dist/uPlot.min.css'
import './styles/tokens.css'
import './styles/base.css'
import { mount } from 'svelte'
import App from './App.svelte'
import { registerServiceWorker } from './serviceWorkerRegistration.ts'
import { createApp } from './state/app.ts'
import { whenIdle } from './state/whenIdle.ts'
import { demoReading } from './words/demoReading.ts'
import PipelineWorker from './worker/pipelineWorker.ts?worker'

const app = createApp()
const shown = new URLSearchParams(location.search).get('reading')
if (shown === null) app.link.open(() => new PipelineWorker())
else demoReading(app, shown)
app.sound.watch()
mount(App, { target: document.getElementById('app')!, props: { app } })
registerServiceWorker()
// The worker that opens files must be here before the bridge may go.
whenIdle(() => app.runs.worker.start())
