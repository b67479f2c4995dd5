import type { Flat } from "../../../imaging/combining/normalise-flat.ts";
import type { LightProof } from "../../../imaging/proof/light-figures.ts";
import { readUnhealthyPixels } from "../../unhealthy-px.ts";
import { holdAgainstSun } from "../light/measure-looks.ts";
import { readDriftLevels } from "./drift-frames.ts";
import { expectedShift } from "./drift-solve.ts";
import { type DriftWork, discPlacePx } from "./drift-work.ts";

/** The frames that the flat does not know show the plain Sun from round about: nothing more has to be taken. */
export async function measureDriftLight(
  work: DriftWork,
  flat: Flat,
  signal: AbortSignal,
): Promise<LightProof> {
  const { bench, shape, discRadiusPx } = work;
  if (!work.request.proveLight) return { notMeasured: "the plan does not want it (`proveLight: false`)" };
  const frames = work.frames.filter(({ isProof }) => isProof);
  const first = frames[0];
  if (!first) return { notMeasured: "no frames were kept to prove the flat with" };
  const pxCount = shape.widthPx * shape.heightPx;
  const request = {
    dark: work.dark!.meanAdu,
    clipAdu: work.tuned!.topAdu - 1,
    unhealthyPx: readUnhealthyPixels(bench, pxCount),
  };
  const looks = frames.map((frame) => {
    const levels = new Float32Array(pxCount);
    readDriftLevels(bench, frame, request, levels);
    return levels;
  });
  const disc = { ...discPlacePx(shape, bench.findings.cameraOnSky!, first.at), radiusPx: discRadiusPx };
  const expectedShifts = frames.map((frame) => expectedShift(work, first, frame));
  return holdAgainstSun(bench, flat, { looks, disc, expectedShifts }, signal);
}
