import type { StepFindings } from "../../../../agent/procedures/findings.ts";
import { trueDisc } from "../../../../sim-devices/scene/optics/image-geometry.ts";
import type { SceneOverrides } from "../../../../sim-devices/scene/spec/override-scene.ts";
import type { SceneSpec } from "../../../../sim-devices/scene/spec/scene-spec.ts";
import { benchOnWorld } from "../bench-on-world.ts";

/** A disc of about 480 px radius in a frame of 256 x 192 px, deep wells, a rig whose camera is known on the sky. */
export function driftBench(seed: number, overrides: SceneOverrides = {}) {
  const rig = benchOnWorld(
    seed,
    {
      ...overrides,
      optics: {
        apertureMm: 60,
        focalLengthMm: 500,
        obstructionRatio: 0,
        wavelengthNm: 656.28,
        ...overrides.optics,
      },
      camera: {
        pixelMicron: 4.8,
        bits: 14,
        words: "shifted",
        fullWellElectrons: 50_000,
        electronsPerCodeAtGain0: 3,
        ...overrides.camera,
      },
    },
    0,
  );
  rig.findings.cameraOnSky = cameraOnSkyOf(rig.spec, rig.world.lightPathNow());
  return rig;
}

type Glimpse = ReturnType<ReturnType<typeof benchOnWorld>["world"]["lightPathNow"]>;

/** From where the scene paints the disc when the line of sight moves. */
function cameraOnSkyOf(spec: SceneSpec, glimpse: Glimpse): NonNullable<StepFindings["cameraOnSky"]> {
  const stepArcsec = 50;
  const discAt = (eastArcsec: number, northArcsec: number) =>
    trueDisc(spec, {
      ...glimpse,
      sunEastArcsec: -eastArcsec,
      sunNorthArcsec: -northArcsec,
      smearEastArcsec: 0,
      smearNorthArcsec: 0,
    });
  const [middle, east, north] = [discAt(0, 0), discAt(stepArcsec, 0), discAt(0, stepArcsec)];
  const xx = (east.xPx - middle.xPx) / stepArcsec;
  const yx = (east.yPx - middle.yPx) / stepArcsec;
  const xy = (north.xPx - middle.xPx) / stepArcsec;
  const yy = (north.yPx - middle.yPx) / stepArcsec;
  return {
    pxPerArcsec: [xx, xy, yx, yy],
    arcsecPerPx: 1 / Math.hypot(xx, yx),
    angleDegrees: (Math.atan2(yx, xx) * 180) / Math.PI,
    parity: xx * yy - xy * yx > 0 ? 1 : -1,
    measuredUtcMs: 0,
  };
}
