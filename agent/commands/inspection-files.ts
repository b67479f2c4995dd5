import { readCcdImage } from "../../drivers/formats/ccd-image.ts";
import { writeWholeFile } from "../../drivers/formats/whole-file.ts";
import { explainFileErrors, InputError } from "../files/input-error.ts";
import type { Inspection } from "../files/inspect/inspect-file.ts";
import { readPicture } from "../files/inspect/inspected-picture.ts";
import { checkOutput } from "../files/output-name.ts";
import {
  inspectionPage,
  inspectionPicture,
  type ShownFrame,
  type ShownInspection,
} from "../outputs/inspection-page.ts";

export interface ShowOptions {
  /** HTML file to write. */
  readonly page?: string;
  /** PNG file to write. */
  readonly picture?: string;
  /** Dark of the frame that a flat is shown on. */
  readonly darkFile?: string;
  readonly replace?: boolean;
}

/**
 * Writes page and picture of what was inspected: of the flat where there is one, shown on the other file.
 * @returns the files written
 * @throws InputError
 */
export function writeInspection(inspected: readonly Inspection[], options: ShowOptions): string[] {
  const { page, picture, replace = false } = options;
  const outputs = [page, picture].filter((path) => path !== undefined);
  for (const output of outputs)
    checkOutput(
      output,
      inspected.map(({ file }) => file),
      replace,
    );
  const shown = whatToShow(inspected, options);
  const write = (path: string, bytes: Uint8Array) =>
    explainFileErrors(path, () => writeWholeFile(path, bytes, { replace }));
  if (page !== undefined) write(page, new TextEncoder().encode(inspectionPage(shown)));
  if (picture !== undefined) write(picture, inspectionPicture(shown));
  return outputs;
}

function whatToShow(inspected: readonly Inspection[], { darkFile }: ShowOptions): ShownInspection {
  const flats = inspected.filter(({ kind }) => kind === "flat");
  const subject = flats.toSorted((a, b) => b.frameCount - a.frameCount)[0] ?? inspected[0];
  if (subject === undefined || inspected.length > 2 || (inspected.length === 2 && flats.length === 0))
    throw new InputError(
      `A page or a picture is of one file, or of a flat and one frame to show it on, and ${inspected.length} files could be read.`,
      "Name one file, or a master flat and an image.",
    );
  const other = inspected.find((one) => one !== subject);
  const { picture } = readPicture(subject.file);
  return { inspection: subject, picture, frame: other && readFrame(other, subject, darkFile) };
}

function readFrame(other: Inspection, flat: Inspection, darkFile: string | undefined): ShownFrame {
  const { pixels } = readPicture(other.file).picture;
  if (other.widthPx !== flat.widthPx || other.heightPx !== flat.heightPx || !(pixels instanceof Uint16Array))
    throw new InputError(
      `${other.file} is no frame of 16-bit counts of the flat's size.`,
      "Name an image as the camera gave it.",
    );
  if (darkFile === undefined)
    throw new InputError(
      `${other.file} has its dark level in it.`,
      "Name its dark with --dark: without it the division would turn dust inside out.",
    );
  const dark = explainFileErrors(darkFile, () => readCcdImage(darkFile));
  if (dark.data.length !== pixels.length)
    throw new InputError(
      `${darkFile} is not of the size of ${other.file}.`,
      "Name a dark of the same region.",
    );
  const name = other.file.replace(/^.*[\\/]/, "");
  return { name, kind: other.kind === "flat" ? "flat" : "image", pixelsAdu: pixels, darkAdu: dark.data };
}
