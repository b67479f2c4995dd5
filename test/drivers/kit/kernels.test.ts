import { expect, test } from "vitest";
import { sourcesSum as sumOfBuilt } from "../../../drivers/kit/kernels/built/kernels.ts";
import { sourcesSum } from "../../../drivers/kit/kernels/compile.ts";
import { f32, layout, startKernel, u8, u16 } from "../../../drivers/kit/kernels/host.ts";

test("the built kernels are those of the sources: else `npm run kernels` builds them", () => {
  expect(sumOfBuilt).toBe(sourcesSum());
});

test("arrays lie apart, each on a line of the cache with one of room behind, and none at address 0", () => {
  const { at, views, memory, bytes } = layout({ few: u8(3), none: f32(0), many: u16(100_000), last: f32(5) });
  const ends = { few: at.few + 3, none: at.none, many: at.many + 200_000, last: at.last + 20 };
  const order = ["few", "none", "many", "last"] as const;
  order.forEach((key, k) => {
    expect(at[key] % 64).toBe(0);
    expect(views[key].byteOffset).toBe(at[key]);
    const next = order[k + 1];
    expect(next ? at[next] : memory.buffer.byteLength).toBeGreaterThanOrEqual(ends[key] + 64);
  });
  expect(at.few).toBeGreaterThan(0);
  expect(views.many.length).toBe(100_000);
  views.last[1] = 1;
  expect(bytes.readFloatLE(at.last + 4)).toBe(1);
});

test("a memory that is used again grows as it must and never shrinks", () => {
  const memory = new WebAssembly.Memory({ initial: 1 });
  expect(layout({ large: u8(200_000) }, memory).memory).toBe(memory);
  const grown = memory.buffer.byteLength;
  expect(grown).toBeGreaterThanOrEqual(200_000);
  layout({ small: u8(10) }, memory);
  expect(memory.buffer.byteLength).toBe(grown);
});

test("a kernel that cannot start says which and what it needs", () => {
  // This one wants a memory that threads share.
  expect(() => startKernel("displaced-sweeps", new WebAssembly.Memory({ initial: 1 }))).toThrow(
    /"displaced-sweeps" do not start.*WebAssembly/,
  );
});

test("memory that is given back is used again, all zeros, and what lay in it is empty", () => {
  const first = layout({ few: u8(100_000) });
  first.views.few.fill(7);
  const { few } = first.views;
  first[Symbol.dispose]();
  expect(few.length).toBe(0);
  const second = layout({ few: u8(90_000) });
  expect(second.memory).toBe(first.memory);
  expect(second.views.few.every((value) => value === 0)).toBe(true);
  first[Symbol.dispose](); // once is enough
  expect(second.views.few.length).toBe(90_000);
  expect(layout({ few: u8(90_000) }).memory).not.toBe(second.memory);
});

test("no more memory is kept than a few pieces of up to 16 MiB", () => {
  const huge = layout({ one: u8(17 * 2 ** 20) });
  huge[Symbol.dispose]();
  expect(layout({ one: u8(17 * 2 ** 20) }).memory).not.toBe(huge.memory);
  const many = Array.from({ length: 12 }, () => layout({ one: u8(300_000) }));
  const memories = new Set(many.map(({ memory }) => memory));
  for (const one of many) one[Symbol.dispose]();
  const again = Array.from({ length: 12 }, () => layout({ one: u8(300_000) }).memory);
  expect(again.filter((memory) => memories.has(memory)).length).toBe(4);
});
