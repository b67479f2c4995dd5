import { mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import type { Card } from "../../../drivers/formats/fits-card.ts";
import { writeFitsFile } from "../../../drivers/formats/fits-write.ts";
import { Random } from "../../../drivers/kit/random.ts";

/** A folder of FITS files that is removed in the end. */
export class SkyFiles implements Disposable {
  readonly folder = mkdtempSync(join(tmpdir(), "sky-files-"));
  readonly random: Random;

  constructor(
    seed: number,
    readonly widthPx = 48,
    readonly heightPx = 32,
  ) {
    this.random = new Random(seed);
  }

  path(name: string): string {
    return join(this.folder, name);
  }

  /** The rig's pattern: brighter in the middle, one dust shadow. */
  gain(x: number, y: number): number {
    const [u, v] = [x / this.widthPx - 0.5, y / this.heightPx - 0.5];
    const dust = Math.hypot(x - 30, y - 12) < 3 ? 0.9 : 1;
    return (1.05 - 0.4 * (u * u + v * v)) * dust;
  }

  /** A uint16 file whose pixels are `level(x, y)` with noise. */
  write(
    name: string,
    level: (x: number, y: number) => number,
    options: { noise?: number; cards?: Card[] } = {},
  ): string {
    const pixels = new Uint16Array(this.widthPx * this.heightPx);
    for (let i = 0; i < pixels.length; i++) {
      const value =
        level(i % this.widthPx, Math.floor(i / this.widthPx)) + (options.noise ?? 0) * this.random.gauss();
      pixels[i] = Math.min(65535, Math.max(0, Math.round(value)));
    }
    const hdu = {
      pixels,
      shape: [this.heightPx, this.widthPx],
      ...(options.cards ? { cards: options.cards } : {}),
    };
    writeFitsFile(this.path(name), [hdu], { writtenUtcMs: 0, replace: true });
    return this.path(name);
  }

  [Symbol.dispose](): void {
    rmSync(this.folder, { recursive: true });
  }
}
