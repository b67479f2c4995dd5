import { asInputError, InputError } from "../files/input-error.ts";
import { MatchedFlat } from "../files/match/match-file.ts";
import type { TrainMatch } from "../imaging/match/match-train.ts";
import { matchText } from "../imaging/match/match-words.ts";
import { loadFft } from "../imaging/numerics/fft-library.ts";
import { CommandError, exitCodes } from "./outcome.ts";

/**
 * Refuses a flat whose dust lies elsewhere than that of the first or the last image. What can't be told, and files that
 * can't be read as one picture, are no reason to refuse.
 * @throws CommandError
 */
export async function ensureFlatFits(
  files: readonly string[],
  options: { readonly flat: string; readonly dark?: string },
): Promise<void> {
  const fft = await loadFft();
  let flat: MatchedFlat | undefined;
  for (const path of new Set([files[0], files.at(-1)])) {
    if (path === undefined) continue;
    let match: TrainMatch;
    try {
      flat ??= new MatchedFlat(options.flat);
      match = flat.with(fft, path, options.dark);
    } catch (error) {
      if (asInputError(error, path) instanceof InputError) continue; // told when it is applied
      throw error;
    }
    if (match.says !== "moved" && match.says !== "other") continue;
    throw new CommandError(exitCodes.wrongInput, {
      happened: `${options.flat} does not fit ${path}. ${matchText(match)}`,
      state: "Nothing was written.",
      whatToDo:
        "Find the flat that fits with `evenfield match`, or pass --despite-move to divide by this one all the same.",
    });
  }
}
