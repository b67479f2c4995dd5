import { coverFront } from "../safing/cover-front.ts";
import { uncover } from "../safing/uncover.ts";
import type { Workbench } from "./step.ts";

/**
 * How a step leaves the rig: camera and mount at rest, the diffuser out of the light, the cover as asked for.
 * The cover comes first when it is to close: it is what makes everything after it harmless. A diffuser stays before a
 * front that could not be covered.
 * @param signal never the one that ended the step
 * @throws what could not be done, after trying everything; UnsafeError when that is the cover
 */
export async function leaveRigIdle(
  bench: Workbench,
  cover: "open" | "closed",
  signal: AbortSignal,
): Promise<void> {
  const { rig } = bench;
  await tryAll([
    () => (cover === "closed" ? coverFront(bench, signal) : undefined),
    () => rig.camera.ensureStopped(signal),
    () => rig.mount?.ensureStopped(signal),
    (failed) => (cover === "closed" && failed ? undefined : rig.diffuser?.ensureOpen(signal)),
    (failed) => (cover === "open" && !failed ? uncover(bench, signal) : undefined),
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
