import { hearStop } from "../files/hear-stop.ts";
import { asFailedFile } from "../files/input-error.ts";
import { MatchedFlat } from "../files/match/match-file.ts";
import type { TrainMatch } from "../imaging/match/match-train.ts";
import { matchText } from "../imaging/match/match-words.ts";
import { loadFft } from "../imaging/numerics/fft-library.ts";
import { wrongInput } from "./outcome.ts";

/**
 * Refuses a flat whose dust lies elsewhere than that of the first or the last image. What can't be told, and files that
 * can't be read as one picture, are no reason to refuse.
 * @throws CommandError, and the signal's reason
 */
export async function ensureFlatFits(
  files: readonly string[],
  options: { readonly flat: string; readonly dark?: string },
  signal: AbortSignal,
): Promise<void> {
  const fft = await loadFft();
  let flat: MatchedFlat | undefined;
  for (const path of new Set([files[0], files.at(-1)])) {
    if (path === undefined) continue;
    await hearStop(signal);
    let match: TrainMatch;
    try {
      flat ??= new MatchedFlat(options.flat);
      match = flat.with(fft, path, options.dark);
    } catch (error) {
      asFailedFile(error, path);
      continue; // told when it is applied
    }
    if (match.says !== "moved" && match.says !== "other") continue;
    throw wrongInput(
      "Nothing was written.",
      `${options.flat} does not fit ${path}. ${matchText(match)}`,
      "Find the flat that fits with `evenfield match`, or pass --despite-move to divide by this one all the same.",
    );
  }
}
