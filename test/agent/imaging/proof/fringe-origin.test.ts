import { expect, test } from "vitest";
import { describeOrigin, fringeOrigin } from "../../../../agent/imaging/proof/fringe-origin.ts";
import { judgeFringes } from "../../../../agent/imaging/proof/judge-master.ts";

const light = { pixelMicron: 3.75, wavelengthNm: 656.28, bandwidthAngstrom: 0.5 };

test("a period tells the wedge: 10 arcsec of glass make fringes 4.45 mm apart", () => {
  const origin = fringeOrigin(4452.9 / 3.75, light);
  expect(60 * origin.glassWedgeArcmin).toBeCloseTo(10, 2);
  expect(origin.airWedgeArcmin / origin.glassWedgeArcmin).toBeCloseTo(1.52, 6);
  // Half of the coherence length of 8.614 mm, there and back.
  expect(origin.airMmMost).toBeCloseTo(4.307, 3);
  expect(origin.glassMmMost).toBeCloseTo(4.307 / 1.52, 3);
});

test("the advice says so where light and pixels are known, and keeps still when all is well", () => {
  const of = (amplitude: number) => ({
    found: {
      periodPx: 23,
      periodSigmaPx: 0.01,
      degrees: 30,
      degreesSigma: 0.1,
      amplitude,
      amplitudeSigma: 1e-5,
      significance: 900,
    },
    strongest: undefined,
    limit: 0.001,
  });
  expect(judgeFringes(of(0.01), light).whatToDo).toContain("13 arcmin from parallel");
  expect(judgeFringes(of(0.01), light).whatToDo).toContain("2.8 mm of glass");
  expect(judgeFringes(of(0.01)).whatToDo).not.toContain("arcmin");
  expect(judgeFringes(of(0.001), light).whatToDo).toBe("Nothing to be done.");
  const { bandwidthAngstrom: _, ...anyLight } = light;
  expect(describeOrigin(fringeOrigin(23, anyLight), anyLight)).not.toContain(" mm of ");
});
