import { webcrypto } from 'node:crypto'
import { chmod, mkdir, readFile } from 'node:fs/promises'
import { hostname } from 'node:os'
import { join } from 'node:path'
import { BridgeError, systemCode } from '../bridgeError.ts'
import { replaceFile } from '../store/jsonFile.ts'
import { listLanAddresses } from './hosts.ts'
import { encodeNameConstraints, nameConstraintsOid, readNameConstraints } from './nameConstraints.ts'
import { installReflectMetadata } from './reflectMetadata.ts'

type X509 = typeof import('@peculiar/x509')

/** Key pair and signature that every tablet understands. */
const algorithm = { name: 'ECDSA', namedCurve: 'P-256', hash: 'SHA-256' }
const dayMs = 24 * 3600 * 1000
/** The authority is installed by hand on each tablet: it lives ten years. */
const authorityDays = 3650
/** Tablets refuse a server certificate that lives longer than 825 days; this one is made anew at every start. */
const serverDays = 90
/** A clock that is a little behind must not refuse a new certificate. */
const backdatedMs = dayMs

export interface ServerCertificate {
  /** PEM of the certificate and of its authority. */
  cert: string
  /** PEM of its key; kept in memory only. */
  key: string
}

export interface LocalAuthority {
  /** PEM to be installed on tablets; not secret. */
  readonly certificatePem: string
  /** A certificate for the addresses that the machine has now. */
  issue(nowMs: number): Promise<ServerCertificate>
}

const ownAddresses = () => listLanAddresses().map(({ address }) => address)

const names = () => {
  const own = hostname().toLowerCase()
  return [...new Set(['localhost', 'local', own])].filter((name) => /^[a-z0-9.-]+$/.test(name))
}

/**
 * The bridge's own certificate authority, made on first use in `<data>/.bridge`. Its key can be read by its owner only, and it is
 * constrained to this machine's names and private addresses.
 */
export async function openLocalAuthority(dataDir: string, nowMs: number): Promise<LocalAuthority> {
  installReflectMetadata()
  const x509 = await import('@peculiar/x509')
  x509.cryptoProvider.set(webcrypto as never)
  const directory = join(dataDir, '.bridge')
  await mkdir(directory, { recursive: true, mode: 0o700 })
  const keyPath = join(directory, 'authority.key')
  const certificatePath = join(directory, 'authority.crt')
  const found = await readBoth(keyPath, certificatePath)
  if (found) {
    await chmod(keyPath, 0o600)
    const authority = new x509.X509Certificate(found.certificate)
    if (authority.notAfter.getTime() > nowMs)
      return createAuthority(x509, authority, await importKey(found.key))
  }
  const keys = await webcrypto.subtle.generateKey(algorithm, true, ['sign', 'verify'])
  const authority = await x509.X509CertificateGenerator.createSelfSigned({
    // Without a common name an iPad does not list it under full trust.
    name: `CN=floatbowl on ${hostname().replaceAll(/[^\w.-]/g, '-')}, O=floatbowl`,
    notBefore: new Date(nowMs - backdatedMs),
    notAfter: new Date(nowMs + authorityDays * dayMs),
    keys,
    signingAlgorithm: algorithm,
    extensions: [
      new x509.BasicConstraintsExtension(true, 0, true),
      new x509.KeyUsagesExtension(x509.KeyUsageFlags.keyCertSign | x509.KeyUsageFlags.cRLSign, true),
      await x509.SubjectKeyIdentifierExtension.create(keys.publicKey),
      new x509.Extension(nameConstraintsOid, true, encodeNameConstraints(names(), ownAddresses())),
    ],
  })
  await replaceFile(
    keyPath,
    toPem('PRIVATE KEY', await webcrypto.subtle.exportKey('pkcs8', keys.privateKey)),
    0o600,
  )
  await replaceFile(certificatePath, `${authority.toString('pem')}\n`)
  return createAuthority(x509, authority, keys.privateKey)
}

function createAuthority(
  x509: X509,
  authority: import('@peculiar/x509').X509Certificate,
  signingKey: webcrypto.CryptoKey,
): LocalAuthority {
  const certificatePem = `${authority.toString('pem')}\n`
  const constraints = authority.getExtension(nameConstraintsOid)
  const permitted = readNameConstraints(new Uint8Array(constraints?.value ?? new ArrayBuffer(0)))
  return {
    certificatePem,
    async issue(nowMs) {
      const keys = await webcrypto.subtle.generateKey(algorithm, true, ['sign', 'verify'])
      const own = names().filter((name) => name !== 'local')
      const certificate = await x509.X509CertificateGenerator.create({
        subject: 'CN=floatbowl',
        issuer: authority.subject,
        notBefore: new Date(nowMs - backdatedMs),
        notAfter: new Date(Math.min(nowMs + serverDays * dayMs, authority.notAfter.getTime())),
        publicKey: keys.publicKey,
        signingKey,
        signingAlgorithm: algorithm,
        extensions: [
          new x509.BasicConstraintsExtension(false, undefined, true),
          new x509.KeyUsagesExtension(x509.KeyUsageFlags.digitalSignature, true),
          new x509.ExtendedKeyUsageExtension([x509.ExtendedKeyUsage.serverAuth]),
          await x509.AuthorityKeyIdentifierExtension.create(authority),
          new x509.SubjectAlternativeNameExtension([
            ...own
              .flatMap((name) => (name.includes('.') ? [name] : [name, `${name}.local`]))
              .filter((name) => permitted.permitsName(name))
              .map((value) => ({ type: 'dns' as const, value })),
            ...['127.0.0.1', ...ownAddresses()]
              .filter((address) => permitted.permitsAddress(address))
              .map((value) => ({ type: 'ip' as const, value })),
          ]),
        ],
      })
      return {
        cert: `${certificate.toString('pem')}\n${certificatePem}`,
        key: toPem('PRIVATE KEY', await webcrypto.subtle.exportKey('pkcs8', keys.privateKey)),
      }
    },
  }
}

async function readBoth(keyPath: string, certificatePath: string) {
  try {
    const [key, certificate] = await Promise.all([
      readFile(keyPath, 'utf8'),
      readFile(certificatePath, 'utf8'),
    ])
    return { key, certificate }
  } catch (error) {
    if (systemCode(error) === 'ENOENT') return undefined
    throw new BridgeError('bad_file', `the certificate authority in ${keyPath} cannot be read`, {
      cause: error,
    })
  }
}

async function importKey(pem: string): Promise<webcrypto.CryptoKey> {
  const bytes = Buffer.from(pem.replaceAll(/-----[^-]+-----|\s/g, ''), 'base64')
  return await webcrypto.subtle.importKey('pkcs8', bytes, algorithm, false, ['sign'])
}

function toPem(label: string, bytes: ArrayBuffer): string {
  const lines =
    Buffer.from(bytes)
      .toString('base64')
      .match(/.{1,64}/g) ?? []
  return `-----BEGIN ${label}-----\n${lines.join('\n')}\n-----END ${label}-----\n`
}
