import { readdirSync, statSync } from "node:fs";
import { join } from "node:path";
import { combinedCount, statedKind } from "../frame-kind.ts";
import { openImage } from "../image-file.ts";
import { InputError } from "../input-error.ts";
import type { KnownFlat } from "./match-file.ts";

/**
 * Master flats among the FITS files of a folder, as their headers tell them; single frames and other kinds are passed over, and so is
 * what can't be read.
 * @throws InputError if the folder holds none, or what the file system says of it
 */
export function listMasterFlats(folder: string): readonly KnownFlat[] {
  const files = readdirSync(folder)
    .filter((name) => /\.(fits?|fts)$/i.test(name))
    .map((name) => join(folder, name));
  const flats = files.flatMap((file) => masterFlat(file) ?? []);
  if (flats.length > 0) return flats;
  throw new InputError(
    `${folder} holds no master flat: ${files.length} FITS files were looked at.`,
    "Name a folder of flats that were combined of several frames each.",
  );
}

function masterFlat(path: string): KnownFlat | undefined {
  let opened: ReturnType<typeof openImage>;
  try {
    opened = openImage(path);
  } catch (error) {
    if (error instanceof InputError) return undefined;
    throw error;
  }
  using file = opened.file;
  const { header } = opened.image;
  if (statedKind(header) !== "flat") return undefined;
  const isMaster =
    combinedCount(header) > 1 ||
    file.findImage("UNCERT") !== undefined ||
    /master/i.test(header.text("IMAGETYP") ?? "");
  if (!isMaster) return undefined;
  const stated = Date.parse(`${header.text("DATE-OBS") ?? ""}Z`);
  return {
    file: path,
    trainMark: header.text("TRAINMRK")?.trim() ?? "",
    madeUtcMs: Number.isNaN(stated) ? statSync(path).mtimeMs : stated,
    verdict: header.text("VERDICT")?.trim() ?? "not stated",
  };
}
