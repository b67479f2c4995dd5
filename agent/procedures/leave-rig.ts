import type { Workbench } from "./step.ts";

/**
 * How a step leaves the rig: camera and mount at rest, the diffuser out of the light, the cover as asked for.
 * The cover comes first when it is to close: it is what makes everything after it harmless.
 * Never hears the stop that led to it. @throws what could not be done, after trying everything
 */
export async function leaveRig({ rig }: Workbench, cover: "open" | "closed" | "as it is"): Promise<void> {
  const signal = new AbortController().signal;
  const failures: unknown[] = [];
  const attempt = async (move: () => Promise<unknown> | undefined) => {
    try {
      await move();
    } catch (error) {
      failures.push(error);
    }
  };
  if (cover === "closed") await attempt(() => rig.cover?.ensureClosed(signal));
  await attempt(() => rig.camera.ensureStopped(signal));
  await attempt(() => rig.mount?.ensureStopped(signal));
  await attempt(() => rig.diffuser?.ensureOpen(signal));
  if (cover === "open" && failures.length === 0) await attempt(() => rig.cover?.ensureOpen(signal));
  if (failures.length === 1) throw failures[0];
  if (failures.length > 1) throw new AggregateError(failures, "the rig could not be left as it should be");
}
