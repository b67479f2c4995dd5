import { existsSync } from "node:fs";
import { basename } from "node:path";
import type { Card } from "../../../drivers/formats/fits-card.ts";
import { FitsFile } from "../../../drivers/formats/fits-file.ts";
import type { FitsHeader } from "../../../drivers/formats/fits-header.ts";
import type { Calibration } from "../flat-file.ts";
import { InputError } from "../input-error.ts";
import { darkSettings, settingDifferences } from "../same-setting.ts";
import { darkNotCompared } from "./refusals.ts";

/** What is asked of a picture or of each frame of a sequence. */
export interface ToDivide {
  readonly path: string;
  readonly widthPx: number;
  readonly rowCount: number;
  readonly header: FitsHeader;
}

/** @throws InputError if the image was divided before */
export function checkNotDivided({ path, header }: ToDivide): void {
  const before = header.text("FLATFILE");
  if (before !== undefined) throw wasAlreadyDivided(path, before);
}

export function wasAlreadyDivided(path: string, flatName: string): InputError {
  return new InputError(`${path} has been divided by ${flatName} already.`, "Start from the raw image.");
}

export function listWarnings(
  image: ToDivide,
  rawSum: string,
  { flat, dark, absurdPx, curve }: Calibration,
): string[] {
  const stated = image.header.text("DATASUM")?.trim();
  return [
    ...(stated === undefined || stated === rawSum
      ? []
      : [`${image.path} does not agree with its own DATASUM: it was changed or damaged`]),
    ...(absurdPx === 0
      ? []
      : [
          `${flat.path} has ${absurdPx} pixels unlike all about them that it does not mask: they are filled from their neighbours`,
        ]),
    ...flatDoubt(image, flat.name),
    ...settingDifferences(image, flat, ["INSTRUME", "FILTER", "XBINNING", "ROWORDER"]),
    // The sensor's curve is that of one setting.
    ...(curve ? settingDifferences(image, flat, ["GAIN", "OFFSET"]) : []),
    ...(dark ? [...settingDifferences(image, dark, darkSettings), ...darkNotCompared(image, dark)] : []),
  ];
}

/** A run that later found its flat not to fit says so in the images since it was last seen to. */
function flatDoubt({ path, header }: ToDivide, flatName: string): string[] {
  const [says, meantFor] = [header.text("FLATFITS"), header.text("FLATMSTR")];
  if (says === undefined || meantFor === undefined) return [];
  if (says === "moved")
    return meantFor === flatName
      ? [
          `${path} was taken after the train had moved: ${meantFor} does not fit it; use the flat after the move`,
        ]
      : [];
  return [
    `${path} may have been taken before the train moved or after it: hold it against ${meantFor} and the flat ` +
      "after the move with `evenfield match`",
  ];
}

/** What a result was made from; the same values in a file of that name mean that it is done. */
export function originCards(path: string, rawSum: string, { flat, dark }: Calibration): Card[] {
  return [
    { keyword: "RAWFILE", value: basename(path), comment: "image as captured" },
    { keyword: "RAWSUM", value: rawSum, comment: "sum of its data" },
    { keyword: "FLATFILE", value: flat.name, comment: "flat it was divided by" },
    { keyword: "FLATSUM", value: flat.sum, comment: "sum of the flat's pixels" },
    ...(dark
      ? [
          { keyword: "DARKFILE", value: dark.name, comment: "dark that was taken off" },
          { keyword: "DARKSUM", value: dark.sum, comment: "sum of the dark's pixels" },
        ]
      : []),
  ];
}

/** The cards of an origin that tell one result from another. */
const originKeywords = ["RAWSUM", "FLATSUM", "DARKSUM"];

export function sameOrigin(valueIn: (keyword: string) => unknown, origin: readonly Card[]): boolean {
  return originKeywords.every(
    (keyword) => valueIn(keyword) === origin.find((card) => card.keyword === keyword)?.value,
  );
}

/** Whether a FITS file is there that was made from the same, in that type. */
export function isDone(output: string, origin: readonly Card[], as: "float32" | "uint16"): boolean {
  if (!existsSync(output)) return false;
  try {
    using file = FitsFile.open(output);
    const image = file.image();
    return image.layout.type === as && sameOrigin((keyword) => image.header.value(keyword), origin);
  } catch {
    return false; // not one of ours: `checkOutput` refuses to write over it
  }
}
