import { expect, test } from "vitest";
import { lightFigures } from "../../../../agent/imaging/proof/light-figures.ts";
import { listReasons, worstVerdict } from "../../../../agent/imaging/proof/proof-figure.ts";

test("a flat whose light nobody held against the Sun is usable at most, and is told how to prove it", () => {
  const figures = lightFigures({ notMeasured: "the rig has no mount that could displace the Sun" });
  expect(worstVerdict(figures)).toBe("usable");
  expect(listReasons(figures).join()).toMatch(
    /not proved: the rig has no mount.*eight or more frames.*--looks/,
  );
});
