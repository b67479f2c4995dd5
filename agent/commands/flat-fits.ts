import { checkMasters, type Despites } from "../files/apply/refusals.ts";
import { hearStop } from "../files/hear-stop.ts";
import { asFailedFile } from "../files/input-error.ts";
import { MatchedFlat } from "../files/match/match-file.ts";
import type { TrainMatch } from "../imaging/match/match-train.ts";
import { matchText } from "../imaging/match/match-words.ts";
import { loadFft } from "../imaging/numerics/fft-library.ts";
import { runOnFiles } from "./file-trouble.ts";
import { wrongInput } from "./outcome.ts";

const nothingWritten = "Nothing was written.";

/**
 * Refuses what is no flat to divide by, and a flat whose dust lies elsewhere than that of the first or the last image. What can't be told, and files that
 * can't be read as one picture, are no reason to refuse.
 * @throws CommandError, and the signal's reason
 */
export async function ensureFlatFits(
  files: readonly string[],
  options: { readonly flat: string; readonly dark?: string; readonly despite: Despites },
  signal: AbortSignal,
): Promise<void> {
  const { flat: flatFile, dark: darkFile, despite } = options;
  await runOnFiles(nothingWritten, { end() {} }, async () => checkMasters(flatFile, darkFile, despite));
  if (despite.has("move")) return;
  const fft = await loadFft();
  let flat: MatchedFlat | undefined;
  for (const path of new Set([files[0], files.at(-1)])) {
    if (path === undefined) continue;
    await hearStop(signal);
    let match: TrainMatch;
    try {
      flat ??= new MatchedFlat(flatFile);
      match = flat.with(fft, path, darkFile);
    } catch (error) {
      asFailedFile(error, path);
      continue; // told when it is applied
    }
    if (match.says !== "moved" && match.says !== "other") continue;
    throw wrongInput(
      nothingWritten,
      `${flatFile} does not fit ${path}. ${matchText(match)}`,
      "Find the flat that fits with `evenfield match`, or pass --despite-move to divide by this one all the same.",
    );
  }
}
