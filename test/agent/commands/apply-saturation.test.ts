import { readFileSync } from "node:fs";
import { expect, test } from "vitest";
import { registerApply } from "../../../agent/commands/apply.ts";
import { maskBits } from "../../../agent/imaging/combining/mask-bits.ts";
import { readFits } from "../../../drivers/formats/fits-read.ts";
import { writeFitsFile } from "../../../drivers/formats/fits-write.ts";
import { evenfield } from "./command-host.ts";
import { SkyFiles } from "./sky-files.ts";

async function apply(sky: SkyFiles, flat: string, image: string, ...more: string[]) {
  const args = ["apply", "--despite-dark", "--flat", flat, image, "-o", sky.path("out"), "--json", ...more];
  const { json } = await evenfield(registerApply, args);
  return { applied: json.applied[0], hdus: readFits(readFileSync(sky.path("out/sun.fits")), "sun.fits") };
}

/** Another program's ratio, without a mask. */
function writeFlat(sky: SkyFiles, change: (gains: Float32Array) => void = () => {}): string {
  const gains = Float32Array.from({ length: sky.widthPx * sky.heightPx }, (_, i) =>
    sky.gain(i % sky.widthPx, Math.floor(i / sky.widthPx)),
  );
  change(gains);
  writeFitsFile(sky.path("flat.fits"), [{ pixels: gains, shape: [sky.heightPx, sky.widthPx] }], {
    writtenUtcMs: 0,
    replace: true,
  });
  return sky.path("flat.fits");
}

test.each<[what: string, topAdu: number, as: string[], patch: number]>([
  ["12 bits in 16", 65_520, [], 6],
  ["12 bits in 16, result in counts", 65_520, ["--as", "uint16"], 6],
  ["12 bits", 4095, [], 6],
  ["a single pixel", 65_535, [], 1],
  ["a sensor that is full below its converter's top", 61_003, [], 16],
])("saturated pixels are marked in a MASK and counted: %s", async (_, topAdu, as, patch) => {
  using sky = new SkyFiles(1);
  const isFull = (x: number, y: number) => x >= 20 && x < 20 + patch && y >= 9 && y < 9 + patch;
  const image = sky.write("sun.fits", (x, y) => (isFull(x, y) ? topAdu : 0.6 * topAdu * sky.gain(x, y)), {
    noise: 0,
  });
  const { applied, hdus } = await apply(sky, writeFlat(sky), image, ...as);
  expect(applied.saturatedPx).toBe(patch ** 2);
  const [picture, mask] = hdus;
  expect(picture!.header.number("SATURATD")).toBe(patch ** 2);
  expect(mask!.header.text("EXTNAME")).toBe("MASK");
  for (const [i, bits] of mask!.pixels!.entries())
    expect(bits).toBe(isFull(i % sky.widthPx, Math.floor(i / sky.widthPx)) ? maskBits.clipped : 0);
});

test("what the camera's header calls saturated is, and an image below it has no MASK", async () => {
  using sky = new SkyFiles(2);
  const image = (level: number) =>
    sky.write("sun.fits", (x) => (x === 3 ? level : 2000), { cards: [{ keyword: "SATURATE", value: 3000 }] });
  const flat = writeFlat(sky);
  expect((await apply(sky, flat, image(3100))).applied.saturatedPx).toBe(32);
  const below = await apply(sky, flat, image(2900), "--replace");
  expect(below.applied.saturatedPx).toBe(0);
  expect(below.hdus).toHaveLength(1);
});

test("a flat made elsewhere with a pixel that no sensor has: filled, not blown up, and told", async () => {
  using sky = new SkyFiles(3);
  const at = 16 * sky.widthPx + 24;
  const flat = writeFlat(sky, (gains) => {
    gains[at] = 0.0001;
  });
  const image = sky.write("sun.fits", (x, y) => 20_000 * sky.gain(x, y));
  const { applied, hdus } = await apply(sky, flat, image);
  expect(applied.mendedPx).toBe(1);
  expect(applied.warnings.join()).toContain("has 1 pixels unlike all about them");
  const pixels = hdus[0]!.pixels!;
  expect(Math.abs(pixels[at]! / pixels[at + 5]! - 1)).toBeLessThan(0.01);
});
