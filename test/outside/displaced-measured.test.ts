import { expect, test } from "vitest";
import { patterns } from "../campaign/displaced-scene/patterns.ts";
import { type Trial, trial } from "../campaign/displaced-scene/trial.ts";
import { check } from "./check.ts";

/** Most of solved over floor, as the list's tolerance says in words; it names none for the others. */
function targetOf(reachPx: number, count: number): number | undefined {
  if (reachPx >= 48 && count >= 30) return 1.35;
  return reachPx === 16 && count >= 50 ? 1.5 : undefined;
}

test("the measured table: plain average, solved flat and floor for each reach and number of frames", async () => {
  const one = check("displaced.measured");
  const { A, N } = one.inputs as { A: number[]; N: number[] };
  const rows: Trial[][] = [];
  for (const reachPx of A) {
    const row: Trial[] = [];
    for (const count of N) {
      const found = await trial({ seed, pattern: patterns.spiral(count, reachPx) });
      row.push(found);
      const told = `A ${reachPx}, N ${count}, seed ${seed}: solved ${found.solved}, floor ${found.floor}`;
      const target = targetOf(reachPx, count);
      if (target !== undefined) expect(found.solved / found.floor, told).toBeLessThan(target);
      if (count >= 30) expect(found.solved / found.average, told).toBeLessThan(0.2);
    }
    rows.push(row);
  }
  const percents = (figure: "average" | "solved") =>
    rows.map((row) => row.map((found) => 100 * found[figure]));
  one.agrees("plainAveragePercent", percents("average"));
  one.agrees("solvedPercent", percents("solved"));
  one.agrees(
    "floorPercent",
    rows[0]!.map(({ floor }) => 100 * floor),
  );
});

const seed = 3;
