import { expect, test } from "vitest";
import { offsetFrom, placeAt } from "../../../agent/sky/tangent-plane.ts";
import { Random } from "../../../drivers/kit/random.ts";

test("an hour of RA at the equator's edge of the day: east is a larger RA, also across 24 h", () => {
  const offset = offsetFrom({ raHours: 23.9999, decDegrees: 20 }, { raHours: 0.0001, decDegrees: 20 });
  expect(offset.eastArcsec).toBeCloseTo(0.0002 * 15 * 3600 * Math.cos((20 * Math.PI) / 180), 3);
  expect(offset.northArcsec).toBeCloseTo(0, 3);
});

test("there and back again, up to three degrees off (seed 20260401)", () => {
  const random = new Random(20260401);
  for (let i = 0; i < 200; i++) {
    const centre = { raHours: random.between(0, 24), decDegrees: random.between(-24, 24) };
    const offset = {
      eastArcsec: random.between(-10_800, 10_800),
      northArcsec: random.between(-10_800, 10_800),
    };
    const back = offsetFrom(centre, placeAt(centre, offset));
    expect(back.eastArcsec).toBeCloseTo(offset.eastArcsec, 5);
    expect(back.northArcsec).toBeCloseTo(offset.northArcsec, 5);
  }
});
