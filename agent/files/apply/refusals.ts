import type { PixelType } from "../../../drivers/formats/fits-pixels.ts";
import { median } from "../../imaging/numerics/order-statistics.ts";
import { checkIsDark, combinedCount, statedKind } from "../frame-kind.ts";
import { openImage } from "../image-file.ts";
import { explainFileErrors, InputError } from "../input-error.ts";
import { darkSettings, type Labelled, settingDifferences, settingsNotStated } from "../same-setting.ts";

/** What `apply` refuses unless a person says that it is meant, each by the option `--despite-…`. */
export const despites = {
  move: "divide although the dust has moved since the flat was taken",
  dark: "divide although flat or images may still have their dark level in them",
  kind: "divide by a file that is no master flat: a frame as captured, an image, a dark",
  verdict: "divide by a flat whose own proof said bad",
  settings: "take off a dark of another exposure, gain, offset or temperature",
} as const;

export type Despite = keyof typeof despites;
export type Despites = ReadonlySet<Despite>;

/** A file with the type that its numbers are stored in. */
interface StoredFile extends Labelled {
  readonly type: PixelType;
}

/** Looks at headers and one row: long before everything is read. @throws InputError */
export function checkMasters(flatFile: string, darkFile: string | undefined, despite: Despites): void {
  {
    const { file, image } = openImage(flatFile);
    using _ = file;
    const { header, layout, rowCount } = image;
    const middle = explainFileErrors(flatFile, () => image.readRows(rowCount >> 1, 1));
    const level = median(Array.from(middle).filter(Number.isFinite)) ?? 0;
    checkFlat({ path: flatFile, header, type: layout.type }, level, despite);
  }
  if (darkFile === undefined || despite.has("kind")) return;
  const { file, image } = openImage(darkFile);
  using _ = file;
  checkIsDark({ path: darkFile, header: image.header });
}

/**
 * @param level median of its pixels
 * @throws InputError if it is no flat to divide by, unless that is meant
 */
function checkFlat(flat: StoredFile, level: number, despite: Despites): void {
  const whatItIs = despite.has("kind") ? undefined : noMasterFlat(flat);
  if (whatItIs !== undefined)
    throw new InputError(
      `${flat.path} ${whatItIs}, and --flat wants a master flat.`,
      `Make one with \`evenfield combine\`, or name the right file. ${meansIt("kind")}`,
    );
  if (!despite.has("verdict") && flat.header.text("VERDICT")?.trim() === "bad")
    throw new InputError(
      `${flat.path} is a bad flat: its header carries the verdict of its proof.`,
      `\`evenfield inspect\` shows why; take a better one. ${meansIt("verdict")}`,
    );
  if (!despite.has("dark") && mayHoldDark(flat) && !isForeignRatio(flat, level))
    throw new InputError(
      `${flat.path} says of no dark that was taken off it.`,
      `Combine its frames once more, with --dark: a dark level makes dust look shallower than it is. ${meansIt("dark")}`,
    );
}

/**
 * @param dark taken off it, where there is one
 * @throws InputError if its dark level would stay in it or be taken off twice, or the dark is another setting's, unless that is meant
 */
export function checkImageDark(image: Labelled, dark: Labelled | undefined, despite: Despites): void {
  if (!despite.has("dark")) {
    const holdsDark = mayHoldDark(image);
    if (dark === undefined && holdsDark)
      throw new InputError(
        `${image.path} says of no dark that was taken off it, and none is named.`,
        `Name one with --dark: with its dark level in it a division turns dust inside out. ${meansIt("dark")}`,
      );
    if (dark !== undefined && !holdsDark)
      throw new InputError(
        `${image.path} has had its dark taken off already, and ${dark.path} would be taken off as well.`,
        `Leave --dark out. ${meansIt("dark")}`,
      );
  }
  if (dark === undefined || despite.has("settings")) return;
  const differs = settingDifferences(image, dark, darkSettings);
  if (differs.length > 0)
    throw new InputError(
      `The dark is of another setting: ${differs.join("; ")}.`,
      `Take a dark of the image's own setting. ${meansIt("settings")}`,
    );
}

/** What could not be compared, in a sentence that is the same for all images of a camera. */
export function darkNotCompared(image: Labelled, dark: Labelled): string[] {
  const missing = settingsNotStated(image, dark, ["EXPTIME", "GAIN", "CCD-TEMP"]);
  return missing.length === 0
    ? []
    : [`headers do not say the ${missing.join(", ")}: whether ${dark.path} fits the images was not checked`];
}

function meansIt(despite: Despite): string {
  return `If it is meant, pass --despite-${despite}.`;
}

function noMasterFlat({ header, type }: StoredFile): string | undefined {
  const kind = statedKind(header);
  if (kind !== undefined && kind !== "flat") return `calls itself a frame of kind ${kind}`;
  const flatFile = header.text("FLATFILE");
  if (flatFile !== undefined) return `has been divided by ${flatFile} itself`;
  return isFloat(type) || combinedCount(header) > 1 || /master/i.test(header.text("IMAGETYP") ?? "")
    ? undefined
    : "is a single frame as it was captured";
}

/** Whether nothing in the header says that its dark was taken off, in the words of several programs. */
function mayHoldDark({ header }: Labelled): boolean {
  const done = ["DARKFILE", "DARKCOR", "SUBDARK"].some((keyword) => header.has(keyword));
  return !done && !(header.text("CALSTAT") ?? "").toUpperCase().includes("D");
}

/** Another program's flat that was brought to a level of 1: its dark is long gone, whatever was done with it. */
function isForeignRatio({ header, type }: StoredFile, level: number): boolean {
  const isOurs = ["SWCREATE", "CREATOR"].some((keyword) => /evenfield/i.test(header.text(keyword) ?? ""));
  return !isOurs && isFloat(type) && level < 10;
}

function isFloat(type: PixelType): boolean {
  return type === "float32" || type === "float64";
}
