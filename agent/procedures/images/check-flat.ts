import { given } from "../../../drivers/kit/given.ts";
import { type FlatCheck, isMisfit } from "../flat-in-use/flat-check.ts";
import { areImagesDone, type FlatCheckRequest, type ImagesWork, imageSecondsLeft } from "./images-request.ts";

/** A flat of this run that is no older counts as just taken. */
const freshMinutes = 15;

/**
 * Holds the newest image against the flat in use: alone, then beside one that the flat fitted, then by a few frames
 * through the diffuser, until one of them can tell. When the flat no longer fits and the plan allows a new one, the step
 * ends here and asks for it.
 */
export async function checkFlat(work: ImagesWork, signal: AbortSignal): Promise<void> {
  const { bench, checks, request, taken } = work;
  const seen = await compareLatest(work, request.flatCheck!, signal);
  if (!isMisfit(seen)) {
    checks.push({ ...seen, afterImages: taken });
    bench.note("flat checked", fieldsOf(seen, taken));
    return;
  }
  const because = areImagesDone(work) ? "all images are taken" : request.flatCheck!.whyNoNewFlat();
  checks.push({
    ...seen,
    afterImages: taken,
    outcome: because === undefined ? "new flat" : "went on",
    ...given({ because }),
  });
  const event = seen.says === "none" ? "no flat for these images" : "the flat no longer fits";
  bench.note(event, {
    ...fieldsOf(seen, taken),
    outcome: because === undefined ? "a new flat is asked for" : `goes on: ${because}`,
  });
  if (because !== undefined) return;
  const { gain, tuned } = work;
  const rest = { taken, gain, tuned: tuned!, ...given({ secondsMost: imageSecondsLeft(work) }) };
  work.asks = { wants: "new flat", because: seen.text, rest };
}

async function compareLatest(
  work: ImagesWork,
  request: FlatCheckRequest,
  signal: AbortSignal,
): Promise<FlatCheck> {
  const { bench, checker, checks } = work;
  const { pedestalAdu } = work.tuned!;
  bench.progress({ what: "holding an image against the flat", done: work.taken, of: work.request.frames });
  const latest = work.latest!;
  let seen = await checker.byImage(latest, pedestalAdu, signal);
  if (!isSure(seen)) seen = (await checker.sinceFitted(latest, pedestalAdu, signal)) ?? seen;
  // A flat that was just taken need not be asked twice: it fits the first image, as far as anyone can tell.
  const isFresh = checks.length === 0 && isJustTaken(work);
  if (!isSure(seen) && !isFresh && request.testFrames > 0)
    seen = (await checker.byDiffuser(request.testFrames, signal)) ?? seen;
  // Not of what images tell of each other: small shifts would add up unseen.
  if ((seen.says === "fits" && seen.seenIn !== "images since it fitted") || (isFresh && !isMisfit(seen)))
    await checker.remember(latest, pedestalAdu, signal);
  return seen;
}

function isSure({ says }: FlatCheck): boolean {
  return says !== "untold" && says !== "uncertain";
}

function isJustTaken({ bench }: ImagesWork): boolean {
  const flat = bench.findings.flatInUse;
  return flat?.from === "this run" && bench.clock.nowMs() - flat.madeUtcMs < freshMinutes * 60_000;
}

function fieldsOf({ flat, seenIn, says, text }: FlatCheck, afterImages: number) {
  return { afterImages, ...given({ flat }), seenIn, says, text };
}
