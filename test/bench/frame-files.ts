import { join } from "node:path";
import { writeFitsFile } from "../../drivers/formats/fits-write.ts";
import { Random } from "../../drivers/kit/random.ts";

/** Flats of normal noise, one value in a thousand far out. Pieces of one pool of noise: drawing it is slow. */
export function writeFrames(
  folder: string,
  frame: { readonly count: number; readonly widthPx: number; readonly heightPx: number },
): string[] {
  const random = new Random(20260714);
  const pxCount = frame.widthPx * frame.heightPx;
  const pool = Float32Array.from({ length: 1_000_003 }, () => 170 * random.gauss());
  const pixels = new Uint16Array(pxCount);
  return Array.from({ length: frame.count }, (_, index) => {
    let from = Math.floor(random.uniform() * pool.length);
    for (let i = 0; i < pxCount; i++) {
      if (from === pool.length) from = Math.floor(random.uniform() * 1000);
      pixels[i] = 30_000 + pool[from++]!;
    }
    for (let k = 0; k < pxCount / 1000; k++)
      pixels[Math.floor(random.uniform() * pxCount)] = 30_000 + 20_000 * random.uniform();
    const path = join(folder, `frame-${String(index).padStart(4, "0")}.fits`);
    writeFitsFile(path, [{ pixels, shape: [frame.heightPx, frame.widthPx] }], {
      writtenUtcMs: 0,
      replace: true,
    });
    return path;
  });
}
