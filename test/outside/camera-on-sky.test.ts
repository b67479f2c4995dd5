import { test } from "vitest";
import { calibrateCamera, moveToCentre } from "../../agent/imaging/disc/camera-on-sky.ts";
import { type Check, check } from "./check.ts";

function calibrated({ inputs }: Check) {
  const [first, second] = inputs.nudgesArcsec.map(([eastArcsec, northArcsec]: number[], i: number) => ({
    move: { eastArcsec, northArcsec },
    shiftPx: { xPx: inputs.movesPx[i][0], yPx: inputs.movesPx[i][1] },
  }));
  const result = calibrateCamera(first, second);
  if (!result.accepted) throw new Error(result.reason);
  return result.camera;
}

/** Computed independently with numpy. */
test.each(["mount.nudges", "mount.nudges.mirrored"])("%s: matrix, scale, parity, correction", (id) => {
  const one = check(id);
  const { inputs, expected } = one;
  const camera = calibrated(one);
  one.agrees("scaleArcsecPerPx", camera.arcsecPerPx);
  one.agrees("parity", camera.parity);
  if (expected.angleDeg !== undefined) {
    one.agrees("angleDeg", camera.angleDegrees);
    const [xEast, xNorth, yEast, yNorth] = camera.pxPerArcsec;
    one.agrees("matrixPxPerArcsec", [
      [xEast, xNorth],
      [yEast, yNorth],
    ]);
  }
  const move = moveToCentre(camera, { xPx: inputs.discOffsetPx[0], yPx: inputs.discOffsetPx[1] });
  one.agrees("correctionArcsec", [move.eastArcsec, move.northArcsec]);
});
