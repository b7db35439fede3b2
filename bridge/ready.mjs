// Makes a clone ready: installs and builds what is missing or older than its sources. Node's own modules only.
import { spawnSync } from 'node:child_process'
import { existsSync, readdirSync, statSync } from 'node:fs'
import { dirname, join } from 'node:path'
import { fileURLToPath } from 'node:url'

const root = join(dirname(fileURLToPath(import.meta.url)), '..')

function run(command, words) {
  const done = spawnSync(command, words, {
    cwd: root,
    stdio: ['inherit', 2, 2],
    shell: process.platform === 'win32',
  })
  if (done.status !== 0) process.exit(done.status ?? 1)
}

function changed(path) {
  return existsSync(path) ? statSync(path).mtimeMs : 0
}

function newest(path) {
  if (!existsSync(path)) return 0
  if (!statSync(path).isDirectory()) return changed(path)
  return readdirSync(path).reduce((latest, name) => Math.max(latest, newest(join(path, name))), 0)
}

const at = (...names) => join(root, ...names)
const [major, minor] = process.versions.node.split('.').map(Number)
if (major < 20 || (major === 20 && minor < 19)) {
  process.stderr.write(`floatbowl needs Node 20.19 or newer; this is ${process.versions.node}\n`)
  process.exit(1)
}

if (changed(at('node_modules', '.package-lock.json')) < changed(at('package-lock.json'))) {
  process.stderr.write('installing the packages\n')
  run('npm', ['ci', '--no-audit', '--no-fund'])
}

const products = [
  ['web', 'index.html'],
  ['node', 'floatbowl.js'],
  ['core', 'index.js'],
]
const built = Math.min(...products.map((names) => changed(at('dist', ...names))))
const sources = ['core', 'bridge', 'dashboard', 'simulator', 'package-lock.json'].map((name) =>
  newest(at(name)),
)
if (built < Math.max(...sources)) {
  process.stderr.write('building\n')
  run('npm', ['run', '-s', 'build'])
}
