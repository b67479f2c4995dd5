import { join } from "node:path";
import { expect, test } from "vitest";
import { images } from "../../../../agent/procedures/images/images.ts";
import { FitsFile } from "../../../../drivers/formats/fits-file.ts";
import { benchOnWorld } from "../bench-on-world.ts";

test("three images, raw, with the upper edge where it was asked for; cover closed after", async () => {
  using rig = benchOnWorld(51);
  const outcome = await rig.run(images, { frames: 3, levelFraction: 0.7, coverAfter: "closed" });
  expect(outcome.found!.files).toEqual([1, 2, 3].map((n) => `images/image-000${n}.fits`));
  expect(Math.abs(outcome.found!.edgeFraction - 0.7)).toBeLessThan(0.03);
  using file = FitsFile.open(join(rig.bench.folder, "images/image-0003.fits"));
  const image = file.image();
  expect(image.header.text("IMAGETYP")).toBe("object");
  expect(image.readRows(0, 1)).toBeInstanceOf(Uint16Array);
  expect(rig.world.cover.position).toBe(0);
});
