import { join } from "node:path";
import { expect, test } from "vitest";
import { darks } from "../../../../agent/procedures/darks/darks.ts";
import { readCcdImage } from "../../../../drivers/formats/ccd-image.ts";
import { benchOnWorld } from "../bench-on-world.ts";

test("darks: covered, off the Sun, at the asked exposure; hot pixels are found", async () => {
  using rig = benchOnWorld(31, {
    camera: { hotPixels: { fraction: 1e-3, electronsPerSecondMin: 500, electronsPerSecondMax: 5000 } },
  });
  const outcome = await rig.run(darks, { frames: 16, exposureSeconds: 2 });
  expect(outcome).toMatchObject({ ended: "completed", found: { frameCount: 16, exposureSeconds: 2 } });
  const { sunEastArcsec, sunNorthArcsec, coverOpenFraction } = rig.world.lightPathNow();
  expect(Math.hypot(sunEastArcsec, sunNorthArcsec) / 3600).toBeGreaterThan(29);
  expect(coverOpenFraction).toBe(0);
  const { defects } = rig.painter.truth();
  const unhealthy = rig.findings.unhealthyPx!;
  let [hot, caught, healthy, falseAlarms] = [0, 0, 0, 0];
  defects.forEach((defect, i) => {
    if (defect === 1) {
      hot++;
      caught += unhealthy[i]!;
    } else if (defect === 0) {
      healthy++;
      falseAlarms += unhealthy[i]!;
    }
  });
  expect(caught / hot).toBeGreaterThan(0.95);
  expect(falseAlarms / healthy).toBeLessThan(1e-3);
  const image = readCcdImage(join(rig.bench.folder, outcome.found!.file));
  expect(image.header.text("IMAGETYP")).toBe("Master Dark");
  expect(image.header.number("NCOMBINE")).toBe(16);
});

test("with nothing to say how long the flat is, it fails and says what to write", async () => {
  using rig = benchOnWorld(32);
  const outcome = await rig.run(darks, { frames: 4 });
  expect(outcome).toMatchObject({ ended: "failed", failure: { code: "DARK_EXPOSURE_UNKNOWN" } });
});
