import { mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { expect, test } from "vitest";
import type { ImagesWork } from "../../../../agent/procedures/images/images-request.ts";
import { locateMove } from "../../../../agent/procedures/images/when-moved.ts";
import { writeFitsFile } from "../../../../drivers/formats/fits-write.ts";

const names = Array.from({ length: 8 }, (_, k) => `image-${k + 1}.fits`);

/** Eight images; the flat fitted at the first, no longer at the last. */
function eightImages(folder: string, sinceFitted: (looks: number) => Promise<{ says: string }>): ImagesWork {
  for (const name of names)
    writeFitsFile(join(folder, name), [{ pixels: new Uint16Array(4), shape: [2, 2] }], {
      writtenUtcMs: 0,
      replace: false,
    });
  let looks = 0;
  return {
    bench: { folder },
    files: names,
    taken: names.length,
    tuned: { pedestalAdu: 0 },
    checks: [
      { says: "fits", seenIn: "an image", afterImages: 1 },
      { says: "moved", seenIn: "an image", afterImages: 8 },
    ],
    checker: { sinceFitted: () => sinceFitted(++looks) },
  } as unknown as ImagesWork;
}

test("a stop while it is looked up which images are after the move: the rest of them stay in doubt, none is lost", async () => {
  const folder = mkdtempSync(join(tmpdir(), "moved-"));
  try {
    const stop = new AbortController();
    const work = eightImages(folder, async (looks) => {
      if (looks === 1) return { says: "fits" };
      stop.abort(new Error("clouds"));
      throw stop.signal.reason;
    });
    const found = await locateMove(work, stop.signal);
    expect(found).toEqual({ doubtful: names.slice(4, 7), moved: names.slice(7) });
  } finally {
    rmSync(folder, { recursive: true });
  }
});

test("other trouble is not taken for a stop", async () => {
  const folder = mkdtempSync(join(tmpdir(), "moved-"));
  try {
    const work = eightImages(folder, () => Promise.reject(new Error("no memory")));
    await expect(locateMove(work, new AbortController().signal)).rejects.toThrow("no memory");
  } finally {
    rmSync(folder, { recursive: true });
  }
});
