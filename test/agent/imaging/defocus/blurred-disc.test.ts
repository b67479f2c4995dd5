import { expect, test } from "vitest";
import { blurredDisc } from "../../../../agent/imaging/defocus/blurred-disc.ts";
import { brightnessAtRadius, limbDarkening } from "../../../../agent/imaging/disc/limb-darkening.ts";
import { blurPupil } from "../../../../sim-devices/scene/optics/blur.ts";

const darkening = limbDarkening(656.28);

test("a disc of 200 px blurred by a pupil of 60 px, as a picture of it is", () => {
  const [side, radiusPx, pupilPx] = [600, 200, 60];
  const picture = Float32Array.from({ length: side * side }, (_, i) => {
    const [x, y] = [(i % side) - 299.5, Math.floor(i / side) - 299.5];
    return brightnessAtRadius(darkening, Math.hypot(x, y) / radiusPx);
  });
  const soft = blurPupil(picture, side, side, pupilPx, 0);
  const light = blurredDisc(darkening, pupilPx / radiusPx);
  const middle = soft[299 * side + 299]!;
  for (const away of [0, 40, 80, 120, 138]) {
    const seen = soft[299 * side + 299 + away]! / middle;
    expect(Math.abs(light(Math.hypot(away - 0.5, 0.5) / radiusPx) / seen - 1)).toBeLessThan(2e-3);
  }
  expect(light(200 / radiusPx)).toBeCloseTo(soft[299 * side + 499]! / middle, 1);
});

test("without blur it is the law itself; beyond disc and pupil there is no light", () => {
  const light = blurredDisc(darkening, 0);
  for (const radii of [0, 0.3, 0.6, 0.9])
    expect(light(radii)).toBeCloseTo(brightnessAtRadius(darkening, radii), 3);
  expect(blurredDisc(darkening, 0.3)(1.31)).toBe(0);
});
