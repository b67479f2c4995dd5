import { MasterBuilder } from "../../agent/imaging/combining/master-builder.ts";
import { Random } from "../../drivers/kit/random.ts";
import { milliseconds, rangeText, tellRow } from "./side-by-side.ts";

/** A live master with rejection, 9 Mpx, one thread: what each frame costs once the reference stands, and the twelfth. */
const [widthPx, heightPx, rounds] = [3000, 3000, 5];
const random = new Random(20260714);
const pool = Array.from({ length: 13 }, () =>
  Uint16Array.from(
    { length: widthPx * heightPx },
    () => 30_000 + 300 * (random.uniform() + random.uniform() - 1),
  ),
);
const perFrame: number[] = [];
const worst: number[] = [];
const first: number[] = [];
for (let round = 0; round < rounds; round++) {
  const builder = new MasterBuilder({ shape: { widthPx, heightPx }, frameCountExpected: 44, kind: "light" });
  const taken = Array.from({ length: 44 }, (_, k) =>
    milliseconds(() => {
      if (!builder.add(pool[k % pool.length]!).accepted) throw new Error(`frame ${k} was refused`);
    }),
  );
  first.push(taken[11]!);
  const later = taken.slice(12);
  perFrame.push(later.reduce((sum, ms) => sum + ms, 0) / later.length);
  worst.push(Math.max(...later));
}
tellRow({
  ...{
    row: 3,
    what: "live accumulation with rejection, 9 Mpx, 1 thread",
    better: "less",
    goal: 2.5,
    unit: "ms a frame",
  },
  measured: perFrame.toSorted((a, b) => a - b)[rounds >> 1]!,
  from: `mean ${rangeText(perFrame)}, dearest ${rangeText(worst)}, twelfth frame ${rangeText(first)}`,
});
