/**
 * How the tests run. It lies here and not at the top, so it has to be named: `vitest --config test/vitest.config.ts`,
 * as `npm test` does.
 *
 * Live tests play in real time. They come last, one at a time, so that nothing takes the processor from them.
 */
import { fileURLToPath } from 'node:url'
import { defineConfig } from 'vitest/config'

export default defineConfig({
  root: fileURLToPath(new URL('..', import.meta.url)),
  test: {
    // A whole run wants some hundred megabytes: two at a time, however many cores there are.
    maxWorkers: 2,
    projects: [
      {
        extends: true,
        test: {
          name: 'unit',
          include: ['test/**/*.test.ts'],
          // What waits for a meter, or is killed, takes no real time from anybody.
          exclude: ['test/live/!(meter*|survives).test.ts'],
          testTimeout: 30_000,
          hookTimeout: 30_000,
          // Files share what is loaded and compiled already: measuring is pure, and cold it costs seconds in each file.
          isolate: false,
          sequence: { groupOrder: 0 },
        },
      },
      {
        extends: true,
        test: {
          name: 'live',
          include: ['test/live/!(meter*|survives).test.ts'],
          // The track alone lasts about 40 s.
          testTimeout: 180_000,
          hookTimeout: 60_000,
          fileParallelism: false,
          // Real time is the computer's to give: what fails only while something else takes the processor gets a second try.
          retry: 1,
          sequence: { groupOrder: 1 },
        },
      },
    ],
  },
})
