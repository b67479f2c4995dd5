import { type FlatCheck, noLongerFits } from "../flat-in-use/flat-check.ts";
import type { ImagesWork } from "./images.ts";
import type { FlatCheckAsk } from "./images-ask.ts";

/** A flat of this run that is no older fits the first image, as far as anyone can tell. */
const freshMinutes = 15;

/**
 * Holds the newest image, and where it alone can't tell a few frames through the diffuser, against the flat in use. When
 * that no longer fits and the plan allows a new one, the step ends here and asks for it.
 */
export async function checkFlat(work: ImagesWork, signal: AbortSignal): Promise<void> {
  const { bench, checks, ask, taken } = work;
  const seen = await look(work, ask.flatCheck!, signal);
  if (!noLongerFits(seen)) {
    checks.push({ ...seen, afterImages: taken });
    bench.note("flat checked", fieldsOf(seen, taken));
    return;
  }
  const because = taken < ask.frames ? ask.flatCheck!.whyNoNewFlat() : "all images are taken";
  checks.push({
    ...seen,
    afterImages: taken,
    outcome: because === undefined ? "new flat" : "went on",
    ...(because === undefined ? {} : { because }),
  });
  const event = seen.says === "none" ? "no flat for these images" : "the flat no longer fits";
  bench.note(event, {
    ...fieldsOf(seen, taken),
    ...(because === undefined ? { outcome: "a new flat is asked for" } : { outcome: `goes on: ${because}` }),
  });
  if (because !== undefined) return;
  const { gain, tuned } = work;
  work.asks = { wants: "new flat", because: seen.text, rest: { taken, gain, tuned: tuned! } };
}

async function look(work: ImagesWork, ask: FlatCheckAsk, signal: AbortSignal): Promise<FlatCheck> {
  const { bench, checker } = work;
  bench.progress({ what: "holding an image against the flat", done: work.taken, of: work.ask.frames });
  const byImage = await checker.byImage(work.latest!, work.tuned!.pedestalAdu);
  const isSure = byImage.says !== "untold" && byImage.says !== "uncertain";
  // Just taken: it need not be asked twice.
  const flat = bench.findings.flatInUse;
  const isFresh =
    flat?.from === "this run" &&
    work.checks.length === 0 &&
    bench.clock.nowMs() - flat.madeUtcMs < freshMinutes * 60_000;
  if (isSure || isFresh || ask.testFrames === 0) return byImage;
  return (await checker.byDiffuser(ask.testFrames, signal)) ?? byImage;
}

function fieldsOf({ flat, seenIn, says, text }: FlatCheck, afterImages: number) {
  return { afterImages, ...(flat === undefined ? {} : { flat }), seenIn, says, text };
}
