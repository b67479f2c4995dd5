import { closeSync, openSync } from "node:fs";
import { expect, test } from "vitest";
import { fitSlope, ResourceUse } from "../../../agent/rehearsal/resource-use.ts";

test("the second half of the days is fitted: what grew before it does not count", () => {
  const samples = [0, 400, 10, 13, 16, 19].map((memoryMegabytes) => ({ memoryMegabytes, handles: 9 }));
  expect(fitSlope(samples)).toEqual({
    days: [4, 6],
    memoryMegabytes: [13, 19],
    memoryMegabytesADay: 3,
    handles: [9, 9],
    handlesADay: 0,
  });
  expect(fitSlope(samples.slice(0, 2))).toBeUndefined();
});

test.skipIf(process.platform !== "linux")(
  "what a killed process left open is not counted, what a living one leaves open is",
  () => {
    const use = new ResourceUse();
    use.endDay();
    use.beginProcess();
    const ofTheDead = openSync(import.meta.filename, "r");
    use.buryProcess();
    use.endDay();
    use.beginProcess();
    const ofTheLiving = openSync(import.meta.filename, "r");
    use.endDay();
    closeSync(ofTheDead);
    closeSync(ofTheLiving);
    use.endDay();
    const [first, ...later] = use.samples.map(({ handles }) => handles!);
    expect(later.map((handles) => handles - first!)).toEqual([0, 1, 0]);
  },
);
