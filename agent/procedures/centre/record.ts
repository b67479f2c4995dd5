import { sunFromSite } from "../../sky/sun-from-site.ts";
import { offsetFrom } from "../../sky/tangent-plane.ts";
import { noteLightRate } from "../light-rates.ts";
import type { CentreFound } from "./centre-request.ts";
import type { CentreWork } from "./centre-work.ts";
import type { WalkEnd } from "./limb-walk.ts";

/** After the closed loop: the newest frame shows where the disc is. */
export async function recordCentring(work: CentreWork, signal: AbortSignal): Promise<void> {
  const { disc } = work.limb!;
  const { xPx, yPx } = work.offsetPx(work.limb!);
  const diameterPx = 2 * disc.radiusPx;
  await record(work, signal, {
    way: "closed-loop",
    discRadiusPx: disc.radiusPx,
    offsetFraction: Math.hypot(xPx, yPx) / diameterPx,
    uncertaintyFraction: Math.hypot(disc.sdXPx, disc.sdYPx) / diameterPx,
  });
}

/** After the walk: what is left is what the mount reports, and how well the views agreed. */
export async function recordLimbMeasurement(
  work: CentreWork,
  end: WalkEnd,
  signal: AbortSignal,
): Promise<void> {
  const { semidiameterArcsec } = sunFromSite(work.bench.clock.nowMs(), work.bench.site);
  await work.frameTaker.observe(signal); // for the exposure and the level of the disc's middle
  await record(work, signal, {
    way: "limb-walk",
    discRadiusPx: semidiameterArcsec / work.camera!.arcsecPerPx,
    offsetFraction: end.leftArcsec / (2 * semidiameterArcsec),
    uncertaintyFraction: (end.sdArcsec * Math.SQRT2) / (2 * semidiameterArcsec),
  });
}

type Measured = Pick<CentreFound, "way" | "discRadiusPx" | "offsetFraction" | "uncertaintyFraction">;

async function record(work: CentreWork, signal: AbortSignal, measured: Measured): Promise<void> {
  const { bench, mount, frameTaker, aim, camera } = work;
  const { pointing } = await mount.state(signal);
  const sun = sunFromSite(bench.clock.nowMs(), bench.site);
  const pointingError = offsetFrom(pointing, sun);
  const cameraOnSky = { ...camera!, measuredUtcMs: bench.clock.nowMs() };
  Object.assign(bench.findings, { cameraOnSky, pointingError, sunPointing: pointing });
  const edgeAduPerSecond = frameTaker.centredEdgeAduPerSecond();
  if (edgeAduPerSecond !== undefined) {
    delete bench.findings.lightSeen;
    noteLightRate(bench.findings, "none", {
      edgeAduPerSecond,
      pedestalAdu: frameTaker.pedestalAdu,
      gain: work.gain,
      sunAltitudeDegrees: sun.altitudeDegrees,
      measuredUtcMs: bench.clock.nowMs(),
    });
  }
  work.result = {
    ...measured,
    cameraOnSky,
    pointingError,
    sunPointing: pointing,
    exposureSeconds: frameTaker.exposureSeconds,
    frameCount: frameTaker.frameCount,
    moveCount: aim.moveCount,
    searchedDegrees: Math.hypot(pointingError.eastArcsec, pointingError.northArcsec) / 3600,
  };
  bench.note("Sun centred", {
    way: measured.way,
    offsetFraction: measured.offsetFraction,
    uncertaintyFraction: measured.uncertaintyFraction,
  });
}
