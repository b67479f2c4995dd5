import { createHash } from "node:crypto";
import { existsSync, readdirSync } from "node:fs";
import { join } from "node:path";
import { FitsFile } from "../../drivers/formats/fits-file.ts";
import type { ScenePainter } from "../../sim-devices/scene/painter.ts";
import type { ServiceStatus } from "../service/service-status.ts";
import { brokenFiles } from "./checkers/files-whole.ts";

/**
 * Images on disk held against what the world's camera gave out: each whole and pixel for pixel a frame of that camera, no frame
 * twice, none missing in a row, and in every run, killed or not, as many as the service said were taken.
 */
export class FrameAccount {
  readonly lost: string[] = [];
  keptCount = 0;
  /** Of the process at work. */
  readonly #painted = new Set<string>();
  /** Images that each of its runs said it took, in the order in which the runs began. */
  #taken: number[] = [];
  readonly #judgedFolders = new Set<string>();

  constructor(
    painter: Pick<ScenePainter, "paint">,
    readonly runsFolder: string,
  ) {
    const paint = painter.paint.bind(painter);
    painter.paint = (light, ask) => {
      const pixelsAdu = paint(light, ask);
      if (ask.frameType === "light") this.#painted.add(digestOf(pixelsAdu));
      return pixelsAdu;
    };
  }

  noteStatus({ state, entry, progress, because }: ServiceStatus): void {
    if (state !== "running" || entry === undefined) return;
    if (progress?.what === "images") {
      this.#taken[this.#taken.length - 1] = Math.max(this.#taken.at(-1) ?? 0, progress.done);
    } else if (!progress && because === `${entry} is carried out`) this.#taken.push(0);
  }

  /** After a process has ended, in whatever way: what its runs left on the disk. */
  judge(): void {
    const { runsFolder } = this;
    const folders = existsSync(runsFolder) ? readdirSync(runsFolder).toSorted() : [];
    const ownFolders = folders.filter((folder) => !this.#judgedFolders.has(folder));
    const seen = new Set<string>();
    for (const [run, folder] of ownFolders.entries()) {
      this.#judgedFolders.add(folder);
      this.#judgeRun(folder, this.#taken[run] ?? 0, seen);
    }
    if (ownFolders.length !== this.#taken.length)
      this.lost.push(`${this.#taken.length} runs were begun, and there are ${ownFolders.length} folders`);
    this.#painted.clear();
    this.#taken = [];
  }

  #judgeRun(folder: string, taken: number, seen: Set<string>): void {
    const place = join(this.runsFolder, folder);
    const images = readdirSync(place, { recursive: true, encoding: "utf8" })
      .filter((name) => /image-\d+\.fits$/.test(name))
      .toSorted();
    this.keptCount += images.length;
    const broken = brokenFiles(place, images);
    const find = (what: string) => this.lost.push(`${folder}: ${what}`);
    for (const what of broken) find(what);
    if (images.length < taken) find(`${taken} images were taken, and ${images.length} are there`);
    images.forEach((name, index) => {
      if (!name.endsWith(`image-${String(index + 1).padStart(4, "0")}.fits`))
        find(`one before ${name} is missing`);
      if (broken.length > 0) return;
      const digest = digestOfImage(join(place, name));
      if (!this.#painted.has(digest)) find(`${name} is no frame that the camera gave`);
      if (seen.has(digest)) find(`${name} is there twice`);
      seen.add(digest);
    });
  }
}

/** Of an image on disk as the camera gave it. */
export function digestOfImage(file: string): string {
  using fits = FitsFile.open(file);
  const image = fits.image();
  return digestOf(Uint16Array.from(image.readRows(0, image.rowCount) as ArrayLike<number>));
}

/** Equal for equal frames, and for no others. */
export function digestOf({ buffer, byteOffset, byteLength }: Uint16Array): string {
  return createHash("sha1")
    .update(new Uint8Array(buffer, byteOffset, byteLength))
    .digest("base64");
}
