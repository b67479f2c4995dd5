import { join } from "node:path";
import { FitsFile } from "../../../drivers/formats/fits-file.ts";
import { type FlatCheck, isMisfit } from "../flat-in-use/flat-check.ts";
import type { ImagesWork } from "./images-request.ts";

/** Images of a series by when they were taken: before the train moved, after it, or nobody knows. */
export interface MoveLocation {
  readonly doubtful: readonly string[];
  readonly moved: readonly string[];
}

/**
 * Narrows down, by halves, in which image after the last check that was passed the train had moved. An image that can't
 * tell is passed over for those beside it; when none is left the search ends, and so it does by a stop: what was not told stays in doubt.
 */
export async function locateMove(work: ImagesWork, signal: AbortSignal): Promise<MoveLocation> {
  const { checks, files, taken } = work;
  const failed = checks.findIndex(isMisfit);
  if (failed < 0 || checks[failed]!.says === "none") return { doubtful: [], moved: [] };
  const before = taken - files.length;
  const passed = checks.slice(0, failed).findLast(({ says }) => says === "fits");
  const { afterImages, seenIn } = checks[failed]!;
  let lastFitting = Math.max(0, (passed?.afterImages ?? before) - before);
  let firstMoved = afterImages - before;
  let sure = seenIn !== "frames through the diffuser"; // those came after the image
  const tellsNothing = new Set<number>();
  while (firstMoved - lastFitting > 1) {
    const next = nearestToMiddle(lastFitting, firstMoved, tellsNothing);
    if (next === undefined) break;
    const { says } = (await seenSince(work, files[next - 1]!, signal)) ?? { says: "untold" };
    if (says === "fits") lastFitting = next;
    else if (says === "moved") [firstMoved, sure] = [next, true];
    else if (signal.aborted) break;
    else tellsNothing.add(next);
  }
  if (!sure && (await seenSince(work, files[firstMoved - 1]!, signal))?.says === "moved") sure = true;
  const from = sure ? firstMoved - 1 : firstMoved;
  return { doubtful: files.slice(lastFitting, from), moved: files.slice(from) };
}

/** Of the images between two, without both. */
function nearestToMiddle(after: number, before: number, without: ReadonlySet<number>): number | undefined {
  const middle = (after + before) >> 1;
  const between = Array.from({ length: before - after - 1 }, (_, k) => after + 1 + k);
  return between
    .filter((image) => !without.has(image))
    .sort((a, b) => Math.abs(a - middle) - Math.abs(b - middle))[0];
}

async function seenSince(
  { bench, checker, tuned }: ImagesWork,
  file: string,
  signal: AbortSignal,
): Promise<FlatCheck | undefined> {
  using fits = FitsFile.open(join(bench.folder, file));
  const image = fits.image();
  const pixelsAdu = image.readRows(0, image.rowCount) as Uint16Array; // as it was written
  const { widthPx, rowCount: heightPx } = image;
  try {
    return await checker.sinceFitted({ pixelsAdu, widthPx, heightPx }, tuned!.pedestalAdu, signal);
  } catch (error) {
    if (signal.aborted) return undefined;
    throw error;
  }
}
