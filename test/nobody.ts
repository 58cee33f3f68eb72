/** Runs work without the superuser's rights, so that "permission denied" can be seen in containers too. */

const NOBODY = 65_534

export async function asNobody<Result>(work: () => Promise<Result>): Promise<Result> {
  if (process.getuid?.() !== 0) return await work()
  process.seteuid?.(NOBODY)
  try {
    return await work()
  } finally {
    process.seteuid?.(0)
  }
}
