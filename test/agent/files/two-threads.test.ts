import { mkdtempSync, readFileSync, rmSync, truncateSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { afterAll, expect, test } from "vitest";
import { combineFiles } from "../../../agent/files/combine/combine-files.ts";
import { makeTiles } from "../../../agent/files/combine/make-tiles.ts";
import { storedImage } from "../../../agent/files/combine/stored-stack.ts";
import { FitsFile } from "../../../drivers/formats/fits-file.ts";
import { writeFitsFile } from "../../../drivers/formats/fits-write.ts";
import { Random } from "../../../drivers/kit/random.ts";

const folder = mkdtempSync(join(tmpdir(), "two-threads-"));
afterAll(() => rmSync(folder, { recursive: true }));

const random = new Random(20260714);
const [widthPx, heightPx] = [301, 211];
const files = Array.from({ length: 9 }, (_, index) => {
  const path = join(folder, `f${index}.fits`);
  const pixels = Uint16Array.from({ length: widthPx * heightPx }, () => 20_000 + 90 * random.gauss());
  writeFitsFile(path, [{ pixels, shape: [heightPx, widthPx] }], { writtenUtcMs: 0, replace: false });
  return path;
});
const darkFile = files[8]!;

test("two threads write the same master as one, byte for byte", () => {
  const [one, two] = ([1, 2] as const).map((threads) => {
    const output = join(folder, "master.fits");
    const request = { files: files.slice(0, 8), darkFile, output, replace: true, writtenUtcMs: 0, threads };
    combineFiles({ ...request, method: "clipped" }, () => {});
    return readFileSync(output);
  });
  expect(two!.equals(one!)).toBe(true);
});

test("a file that becomes shorter while it is read is told, whichever thread meets it", () => {
  const opened = files.slice(0, 8).map((path) => FitsFile.open(path));
  truncateSync(files[3]!, 2880 + 2 * 40_000);
  const frames = opened.map((file) => storedImage(file.image()));
  const seen: number[] = [];
  const stack = {
    frames,
    pxCount: widthPx * heightPx,
    tilePx: 1024,
    method: "mean",
    clipAdu: 65_535,
  } as const;
  expect(() => makeTiles(stack, (startPx) => seen.push(startPx), 2)).toThrow(/f3\.fits: became shorter/);
  expect(new Set(seen).size).toBe(seen.length); // no tile twice
  for (const file of opened) file.close();
});
