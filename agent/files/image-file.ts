import { FitsFile, type FitsFileImage } from "../../drivers/formats/fits-file.ts";
import { isCube, isSerName, openSer } from "./frame-source.ts";
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
  if (isSerName(path))
    throw new InputError(`${path} is a sequence, and one picture is wanted.`, "Name a master or an image.");
  return openChecked(path, "picture of one plane", (image) => image.rowCount === image.shape.at(-2));
}

/** Pictures of one size in a file, as long as that is open. */
export interface OpenedPictures extends Disposable {
  /** One of a FITS image, all frames of a cube or a SER file. */
  readonly pictures: readonly FitsFileImage[];
  /** The FITS file, for the other images in it. */
  readonly file: FitsFile | undefined;
  readonly warnings: readonly string[];
}

/** Opens whatever holds pictures. @throws InputError */
export function openPictures(path: string): OpenedPictures {
  if (isSerName(path)) {
    const source = openSer(path);
    const close = () => source[Symbol.dispose]();
    return { pictures: source.frames(), file: undefined, warnings: source.warnings, [Symbol.dispose]: close };
  }
  const { file, image } = openFrames(path);
  const pictures = isCube(image) ? image.planes() : [image];
  return { pictures, file, warnings: [], [Symbol.dispose]: () => file.close() };
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
