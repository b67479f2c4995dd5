import { existsSync, readdirSync } from "node:fs";
import { basename, join } from "node:path";
import { FitsFile } from "../../../drivers/formats/fits-file.ts";
import { writeFitsFile } from "../../../drivers/formats/fits-write.ts";
import type { Frame } from "../../../drivers/roles/camera.ts";
import { writeRawFrame } from "../master-files.ts";
import type { Workbench } from "../step.ts";

const imagesFolder = "images";

/** One more than the highest in the run's folder: a later series goes on where an earlier one ended. */
export function nextImageNumber({ folder }: Workbench): number {
  const place = join(folder, imagesFolder);
  if (!existsSync(place)) return 1;
  const numbers = readdirSync(place).map((name) => Number(/^image-(\d+)\.fits$/.exec(name)?.[1] ?? 0));
  return Math.max(0, ...numbers) + 1;
}

/** On disk before the next exposure begins. @returns the file, below the run's folder */
export function saveImage(bench: Workbench, number: number, frame: Frame): string {
  const file = `${imagesFolder}/image-${String(number).padStart(4, "0")}.fits`;
  const { flatInUse } = bench.findings;
  const comment = "master flat that it is meant for";
  const more = flatInUse ? [{ keyword: "FLATMSTR", value: basename(flatInUse.file), comment }] : [];
  writeRawFrame(bench, file, frame, "object", more);
  return file;
}

/** What is known of an image whose flat was found not to fit any more some time later. */
const flatFits = {
  moved: "the train had moved since that flat",
  unsure: "the train may have moved since that flat",
} as const;

/** Says it in the image's own header, where whoever divides it will meet it; written beside and put in its place. */
export function markMisfitImages(bench: Workbench, file: string, says: keyof typeof flatFits): void {
  const path = join(bench.folder, file);
  using fits = FitsFile.open(path);
  const image = fits.image();
  const hdu = {
    pixels: image.readRows(0, image.rowCount),
    shape: [image.rowCount, image.widthPx],
    cards: [...image.header.cards, { keyword: "FLATFITS", value: says, comment: flatFits[says] }],
  };
  writeFitsFile(path, [hdu], { writtenUtcMs: bench.clock.nowMs(), replace: true });
}
