import { describe, expect, test } from "vitest";
import {
  calibrateCamera,
  cameraFrom,
  isMatrixConfirmed,
  moveToCentre,
  shiftForMove,
} from "../../../../agent/imaging/disc/camera-on-sky.ts";

const east = { eastArcsec: 100, northArcsec: 0 };
const north = { eastArcsec: 0, northArcsec: 100 };

describe("the camera on the sky", () => {
  test("a swallowed nudge, a skew one and parallel ones are rejected with a reason", () => {
    const good = { move: east, shiftPx: { xPx: 50, yPx: 0 } };
    const reject = (shiftPx: { xPx: number; yPx: number }, move = north) => {
      const result = calibrateCamera(good, { move, shiftPx });
      return result.accepted ? "" : result.reason;
    };
    expect(reject({ xPx: 0, yPx: 40 })).toMatch(/25 % apart/);
    expect(reject({ xPx: 15, yPx: 48 })).toMatch(/from square/);
    expect(reject({ xPx: 50, yPx: 1 }, east)).toMatch(/parallel/);
    expect(reject({ xPx: 0, yPx: 0 })).toMatch(/did not move/);
    expect(reject({ xPx: 0, yPx: 46 })).toBe("");
  });

  test("nudges in any two directions give the same matrix", () => {
    const camera = cameraFrom([0.3, -0.4, -0.4, -0.3]); // mirrored
    expect(camera.parity).toBe(-1);
    const moves = [
      { eastArcsec: 30, northArcsec: 70 },
      { eastArcsec: -80, northArcsec: 20 },
    ];
    const [a, b] = moves.map((move) => ({ move, shiftPx: shiftForMove(camera, move) }));
    const result = calibrateCamera(a!, b!);
    if (!result.accepted) throw new Error(result.reason);
    result.camera.pxPerArcsec.forEach((value, i) => {
      expect(value).toBeCloseTo(camera.pxPerArcsec[i]!, 12);
    });
    const back = shiftForMove(camera, moveToCentre(camera, { xPx: 12, yPx: -7 }));
    expect(back.xPx).toBeCloseTo(-12, 10);
    expect(back.yPx).toBeCloseTo(7, 10);
  });

  test("a kept matrix is trusted until the camera was turned or mirrored", () => {
    const camera = cameraFrom([0.5, 0, 0, 0.5]);
    const seenThrough = (other: readonly [number, number, number, number]) =>
      isMatrixConfirmed(camera, { move: east, shiftPx: shiftForMove(cameraFrom(other), east) }, 0);
    const turned = (degrees: number): [number, number, number, number] => {
      const a = (degrees * Math.PI) / 180;
      return [0.5 * Math.cos(a), -0.5 * Math.sin(a), 0.5 * Math.sin(a), 0.5 * Math.cos(a)];
    };
    expect(seenThrough(turned(0))).toBe(true);
    expect(seenThrough(turned(5))).toBe(true);
    expect(seenThrough(turned(20))).toBe(false);
    expect(seenThrough([-0.5, 0, 0, 0.5])).toBe(false);
    expect(isMatrixConfirmed(camera, { move: east, shiftPx: { xPx: 35, yPx: 0 } }, 0)).toBe(false);
    expect(isMatrixConfirmed(camera, { move: east, shiftPx: { xPx: 35, yPx: 0 } }, 20)).toBe(true); // backlash
  });
});
