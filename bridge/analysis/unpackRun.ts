import { constants, createGunzip, type Gunzip } from 'node:zlib'

/**
 * Unpacks a run as it is read. Of one that breaks off (a copy that did not end) comes what is there: its last line is then torn, which the
 * scanner tells. Damage within still ends in an error.
 */
export function createRunUnpacker(chunkBytes: number = constants.Z_DEFAULT_CHUNK): Gunzip {
  return createGunzip({ chunkSize: chunkBytes, finishFlush: constants.Z_SYNC_FLUSH })
}
