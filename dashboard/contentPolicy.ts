import { z } from 'zod'

/*
 * The bridge's content policy forbids code made out of text. The schema library would try it once and go on without; the attempt alone stands as an
 * error in the console of some browsers. Imported before any schema is made.
 */
z.config({ jitless: true })
