import { mkdtempSync, readFileSync, rmSync, truncateSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { afterAll, expect, test } from "vitest";
import { combineFiles } from "../../../agent/files/combine/combine-files.ts";
import { makeTiles } from "../../../agent/files/combine/make-tiles.ts";
import { type StoredStack, storedImage } from "../../../agent/open-files/stored-stack.ts";
import { Threads } from "../../../agent/threads/threads.ts";
import { FitsFile } from "../../../drivers/formats/fits-file.ts";
import { writeFitsFile } from "../../../drivers/formats/fits-write.ts";
import { Random } from "../../../drivers/kit/random.ts";
import { AttentiveThreads, dyingProgram } from "./attentive.ts";

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
async function masterBy(threads?: Threads): Promise<Buffer> {
  const output = join(folder, "master.fits");
  const request = { files: files.slice(0, 8), darkFile, output, replace: true, writtenUtcMs: 0 };
  await combineFiles({ ...request, method: "clipped", ...(threads && { threads }) }, () => {});
  return readFileSync(output);
}

function openStack(): { readonly stack: StoredStack; readonly opened: readonly FitsFile[] } {
  const opened = files.slice(0, 8).map((path) => FitsFile.open(path));
  const frames = opened.map((file) => storedImage(file.image()));
  const pxCount = widthPx * heightPx;
  return { opened, stack: { frames, pxCount, tilePx: 1024, method: "mean", clipAdu: 65_535 } };
}

test("two threads write the same master as one, byte for byte", async () => {
  const said: string[] = [];
  const say = (why: string) => void said.push(why);
  const threads = new AttentiveThreads(say);
  expect((await masterBy(threads)).equals(await masterBy())).toBe(true);
  expect(threads.tilesAsked).toBeGreaterThan(1);
  expect(said).toEqual([]);
});

test("a thread that ends without an error while it holds a tile: this one makes it, and says so once", async () => {
  const said: string[] = [];
  const say = (why: string) => void said.push(why);
  const threads = new AttentiveThreads(say, dyingProgram);
  expect((await masterBy(threads)).equals(await masterBy())).toBe(true);
  expect(said).toEqual(["it ended without a word"]);
});

test("a thread that never starts is not waited for", async () => {
  const threads = new Threads(() => {}, {
    valuesLeast: 0,
    program: new URL("./no-such-program.ts", import.meta.url),
  });
  expect((await masterBy(threads)).equals(await masterBy())).toBe(true);
});

test("a file that becomes shorter while it is read is told, whichever thread meets it; no tile is written twice", async () => {
  const { stack, opened } = openStack();
  truncateSync(files[3]!, 2880 + 2 * 40_000);
  for (const threads of [undefined, new AttentiveThreads(() => {})]) {
    const seen: number[] = [];
    await expect(makeTiles(stack, (startPx) => seen.push(startPx), threads)).rejects.toThrow(
      /f3\.fits: became shorter/,
    );
    expect(new Set(seen).size).toBe(seen.length);
    expect(seen.length).toBeGreaterThan(0);
  }
  for (const file of opened) file.close();
});
