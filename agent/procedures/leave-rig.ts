import type { Workbench } from "./step.ts";

/**
 * How a step leaves the rig: camera and mount at rest, the diffuser out of the light, the cover as asked for.
 * The cover comes first when it is to close: it is what makes everything after it harmless.
 * @param signal never the one that ended the step
 * @throws what could not be done, after trying everything
 */
export async function leaveRigIdle(
  { rig }: Workbench,
  cover: "open" | "closed",
  signal: AbortSignal,
): Promise<void> {
  await tryAll([
    () => (cover === "closed" ? rig.cover?.ensureClosed(signal) : undefined),
    () => rig.camera.ensureStopped(signal),
    () => rig.mount?.ensureStopped(signal),
    () => rig.diffuser?.ensureOpen(signal),
    (failed) => (cover === "open" && !failed ? rig.cover?.ensureOpen(signal) : undefined),
  ]);
}

/** Tries every move in its turn, whatever the others came to. @throws what failed, once all were tried */
export async function tryAll(
  moves: readonly ((failed: boolean) => Promise<unknown> | undefined)[],
): Promise<void> {
  const failures: unknown[] = [];
  for (const move of moves) {
    try {
      await move(failures.length > 0);
    } catch (error) {
      failures.push(error);
    }
  }
  if (failures.length === 1) throw failures[0];
  if (failures.length > 1) throw new AggregateError(failures, "the rig could not be left as it should be");
}
