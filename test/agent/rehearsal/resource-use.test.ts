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

test("what a killed process left open is not counted, what a living one leaves open is", () => {
  const open = new Map([["1", "pipe"]]);
  const use = new ResourceUse(() => new Map(open));
  use.endDay();
  use.beginProcess();
  open.set("5", "/runs/a/events.ndjson");
  use.buryProcess();
  use.endDay();
  use.beginProcess();
  open.set("6", "/runs/b/events.ndjson");
  use.endDay();
  open.delete("5");
  open.set("5", "socket"); // the number is used again
  use.endDay();
  expect(use.samples.map(({ handles }) => handles)).toEqual([1, 1, 2, 3]);
});
