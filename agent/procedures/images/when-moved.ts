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
 * Narrows down, by halves, in which image after the last check that was passed the train had moved. Images that can't tell
 * end the search, and so does a stop: what was not looked at stays in doubt.
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
  while (firstMoved - lastFitting > 1) {
    const middle = (firstMoved + lastFitting) >> 1;
    const { says } = (await seenSince(work, files[middle - 1]!, signal)) ?? { says: "untold" };
    if (says === "fits") lastFitting = middle;
    else if (says === "moved") [firstMoved, sure] = [middle, true];
    else break;
  }
  if (!sure && (await seenSince(work, files[firstMoved - 1]!, signal))?.says === "moved") sure = true;
  const from = sure ? firstMoved - 1 : firstMoved;
  return { doubtful: files.slice(lastFitting, from), moved: files.slice(from) };
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
