import { existsSync, readdirSync } from "node:fs";
import { basename, join } from "node:path";
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
export function keepImage(bench: Workbench, number: number, frame: Frame): string {
  const file = `${imagesFolder}/image-${String(number).padStart(4, "0")}.fits`;
  const { flatInUse } = bench.findings;
  writeRawFrame(
    bench,
    file,
    frame,
    "Light Frame",
    flatInUse
      ? [
          {
            keyword: "FLATMSTR",
            value: basename(flatInUse.file),
            comment: "master flat that it is meant for",
          },
        ]
      : [],
  );
  return file;
}
