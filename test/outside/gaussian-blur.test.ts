import { expect, test } from "vitest";
import { gaussianBlur } from "../../agent/imaging/numerics/gaussian-blur.ts";
import { runPython } from "./python.ts";

const shape = { widthPx: 160, heightPx: 120 };

/** Two discs on a slope; scipy's Gaussian with no light outside, over the same of an even picture: as ours weighs edges. */
const script = `
import json, sys
import numpy as np
from scipy.ndimage import gaussian_filter
y, x = np.mgrid[0:120, 0:160]
picture = 1 + 0.002 * x - 0.1 * (np.hypot(x - 50, y - 60) < 12) - 0.05 * (np.hypot(x - 2, y - 100) < 30)
kwargs = dict(mode="constant", cval=0, truncate=6)
print(json.dumps([
  (gaussian_filter(picture, s, **kwargs) / gaussian_filter(np.ones_like(picture), s, **kwargs)).ravel().tolist()
  for s in map(float, sys.argv[1:])
]))
`;

test("three boxes are scipy's Gaussian to 3 % of a shadow's depth, and to 6 % where the frame's edge cuts them", () => {
  const sigmasPx = [1.5, 3, 6, 12];
  const picture = Float32Array.from({ length: shape.widthPx * shape.heightPx }, (_, i) => {
    const [x, y] = [i % shape.widthPx, Math.floor(i / shape.widthPx)];
    const [one, other] = [Math.hypot(x - 50, y - 60) < 12, Math.hypot(x - 2, y - 100) < 30];
    return 1 + 0.002 * x - (one ? 0.1 : 0) - (other ? 0.05 : 0);
  });
  const exact: number[][] = runPython(script, sigmasPx.map(String));
  for (const [k, sigmaPx] of sigmasPx.entries()) {
    let [inside, anywhere] = [0, 0];
    gaussianBlur(picture, shape, sigmaPx).forEach((value, i) => {
      const [x, y] = [i % shape.widthPx, Math.floor(i / shape.widthPx)];
      const miss = Math.abs(value - exact[k]![i]!) / 0.1;
      const fromEdgePx = Math.min(x, y, shape.widthPx - 1 - x, shape.heightPx - 1 - y);
      anywhere = Math.max(anywhere, miss);
      if (fromEdgePx > 2.5 * sigmaPx) inside = Math.max(inside, miss);
    });
    expect(inside, `sigma ${sigmaPx}`).toBeLessThan(0.03);
    expect(anywhere, `sigma ${sigmaPx}`).toBeLessThan(0.06);
  }
});
