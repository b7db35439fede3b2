import { mkdtemp, rm } from 'node:fs/promises'
import { connect, type Socket } from 'node:net'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { connect as connectEncrypted } from 'node:tls'
import { describe, it, onTestFinished } from 'vitest'
import { createClock } from '../../bridge/clock.ts'
import { openLocalAuthority } from '../../bridge/security/certificates.ts'
import { boardSetup, createHandSource, startBridge } from '../support/bridgeHarness.ts'

/** A browser holds connections ready for which it has no request yet. */
function opened(socket: Socket, event: 'connect' | 'secureConnect'): Promise<Socket> {
  onTestFinished(() => {
    socket.destroy()
  })
  socket.on('error', () => {})
  return new Promise((resolve) => socket.once(event, () => resolve(socket)))
}

describe('a bridge that ends', () => {
  it('does not wait for a connection that was held ready and never used', async () => {
    const running = await startBridge({ sources: [boardSetup(createHandSource())] })
    onTestFinished(() => running.stop())
    const socket = await opened(connect(running.port, '127.0.0.1'), 'connect')
    const isClosed = new Promise((resolve) => socket.once('close', resolve))
    socket.resume()
    await running.server.close()
    await isClosed
  })

  it('does not wait for an encrypted one either', async () => {
    const dataDir = await mkdtemp(join(tmpdir(), 'floatbowl-close-'))
    onTestFinished(() => rm(dataDir, { recursive: true, force: true }))
    const authority = await openLocalAuthority(dataDir, createClock().wallMs())
    const running = await startBridge({
      dataDir,
      sources: [boardSetup(createHandSource())],
      server: { lan: true, authority },
    })
    onTestFinished(() => running.stop())
    const socket = await opened(
      connectEncrypted({ port: running.port, host: '127.0.0.1', rejectUnauthorized: false }),
      'secureConnect',
    )
    const isClosed = new Promise((resolve) => socket.once('close', resolve))
    socket.resume()
    await running.server.close()
    await isClosed
  })
})
