import type { Front } from "./front.ts";
import type { SafingTools } from "./safing-tools.ts";
import { UnsafeError } from "./unsafe-error.ts";

const lookEverySeconds = 2;

/**
 * Moves the telescope behind its cover, looking before and meanwhile that it is closed; one that is not ends the move.
 * Where the front is not proved to be covered it only moves.
 * @param move its signal aborts when the cover is seen to open
 * @throws UnsafeError
 */
export async function whileCovered<T>(
  { rig: { cover }, front, clock }: SafingTools,
  move: (signal: AbortSignal) => Promise<T>,
  signal: AbortSignal,
): Promise<T> {
  if (!cover || !front.covered.proved) return move(signal);
  if ((await cover.state(signal)) === "open") throw standsOpen(front, "open");
  const own = new AbortController();
  const onAbort = () => own.abort(signal.reason);
  signal.addEventListener("abort", onAbort, { once: true });
  const moving = move(own.signal);
  const watching = (async () => {
    while (!own.signal.aborted) {
      await clock.sleep(lookEverySeconds, own.signal).catch(() => {});
      const state = await cover.state(own.signal).catch(() => undefined);
      if (own.signal.aborted || (state !== "open" && state !== "moving")) continue;
      own.abort(standsOpen(front, state));
    }
  })();
  try {
    return await moving;
  } catch (error) {
    if (own.signal.reason instanceof UnsafeError) throw own.signal.reason;
    throw error;
  } finally {
    signal.removeEventListener("abort", onAbort);
    own.abort(new Error("the move is over"));
    await watching;
  }
}

function standsOpen(front: Front, state: "open" | "moving"): UnsafeError {
  const why = `the cover reads ${state}, and nobody here opened it`;
  front.covered = { proved: false, why };
  return new UnsafeError("NOT_COVERED", why, "See who opens the cover, and close it by hand.");
}
