import { FitsFile, type FitsFileImage } from "../../drivers/formats/fits-file.ts";
import { isSerName } from "./frame-source.ts";
import { asInputError, explainFileErrors, InputError } from "./input-error.ts";

interface Opened {
  readonly file: FitsFile;
  readonly image: FitsFileImage;
}

/**
 * Opens the first image of a FITS file, which must be a single plane.
 * @throws InputError
 */
export function openImage(path: string): Opened {
  if (isSerName(path)) {
    throw new InputError(
      `${path} is a SER sequence, and only \`evenfield apply\` reads those.`,
      "Save it as FITS files for this command.",
    );
  }
  return openChecked(path, "picture of one plane", (image) => image.rowCount === image.shape.at(-2));
}

/**
 * The same for a single plane or a cube of them.
 * @throws InputError
 */
export function openFrames(path: string): Opened {
  return openChecked(
    path,
    "picture or cube",
    ({ shape }) => shape.length === 3 || shape.slice(0, -2).every((length) => length === 1),
  );
}

function openChecked(path: string, what: string, isUsable: (image: FitsFileImage) => boolean): Opened {
  const file = explainFileErrors(path, () => FitsFile.open(path));
  try {
    if (!file.findImage() && file.hdus.some(({ header }) => header.value("ZIMAGE") === true)) {
      throw new InputError(`${path} holds its picture compressed in tiles.`, "Unpack it first.");
    }
    const image = file.image();
    if (image.shape.length < 2)
      throw new InputError(`${path} holds a row of numbers and no picture.`, "Leave it out.");
    if (!isUsable(image)) {
      throw new InputError(
        `${path} is no ${what}: its axes are ${image.shape.toReversed().join(" x ")}.`,
        "Split it into single pictures first.",
      );
    }
    return { file, image };
  } catch (error) {
    file.close();
    throw asInputError(error, path);
  }
}

export function sizeText(image: { readonly widthPx: number; readonly rowCount: number }): string {
  return `${image.widthPx} x ${image.rowCount} px`;
}

/** @throws InputError unless both are of one size */
export function checkSameSize(image: FitsFileImage, other: FitsFileImage): void {
  if (image.widthPx === other.widthPx && image.rowCount === other.rowCount) return;
  throw new InputError(
    `${image.path} is ${sizeText(image)} and ${other.path} ${sizeText(other)}.`,
    "Files that belong together have one size: check binning and region of the camera.",
  );
}
