import { expect, test } from "vitest";
import { BlockSample, makeRowAdder } from "../../../../agent/imaging/combining/block-sample.ts";
import { BlockMap } from "../../../../agent/imaging/numerics/block-map.ts";
import { Random } from "../../../../drivers/kit/random.ts";
import { plainRowAdder } from "../../../reference/row-adder.ts";

const seed = 20260714;

test.each([
  ["all pixels", 1],
  ["some", 0.8],
])("sums of blocks, %s: compiled and plain ones are equal, and those of the whole frame", (_, share) => {
  const random = new Random(seed);
  for (const [widthPx, heightPx] of [
    [96, 80],
    [101, 33],
    [7, 5],
  ] as const) {
    const pxCount = widthPx * heightPx;
    const shape = { widthPx, heightPx };
    const use = Uint8Array.from({ length: pxCount }, () => (random.uniform() < share ? 1 : 0));
    const darkAdu = Float32Array.from({ length: pxCount }, () => Math.round(300 + 5 * random.gauss()));
    const frame = Uint16Array.from({ length: pxCount }, () => 65_536 * random.uniform());
    const [got, plain] = [makeRowAdder, plainRowAdder].map(
      (make) => new BlockSample(shape, darkAdu, (px) => use[px] === 1, make),
    );
    expect(got!.rowStep).toBe(1);
    for (let time = 0; time < 2; time++) {
      const cells = got!.sumsOf(frame);
      expect(cells, `seed ${seed}`).toEqual(plain!.sumsOf(frame));
      const blocks = got!.addCells(cells, new Float64Array(got!.columns * got!.rows));
      expect(blocks, `seed ${seed}`).toEqual(new BlockMap(shape, 32).sumFrame(frame, darkAdu, use));
    }
  }
});

test("of a large frame every fourth row is looked at, and counted so", () => {
  const shape = { widthPx: 4000, heightPx: 3001 };
  const sample = new BlockSample(shape, undefined, (px) => px % 2 === 0);
  expect(sample.rowStep).toBe(4);
  expect(sample.counts[0]).toBe((32 / 2) * (32 / 4));
  const frame = new Uint16Array(4000 * 3001);
  for (let px = 0; px < frame.length; px++) frame[px] = Math.floor(px / 4000) % 4 === 0 ? 65_535 : 0;
  expect(sample.cellCounts[0]).toBe((8 / 2) * (8 / 4));
  expect(sample.sumsOf(frame)[0]).toBe(65_535 * sample.cellCounts[0]!);
});
