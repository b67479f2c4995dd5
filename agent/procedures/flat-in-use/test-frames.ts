import { uncover } from "../../safing/uncover.ts";
import { setFlatGain } from "../camera-ready.ts";
import { exposureForLevel, topCodeAdu } from "../exposure-for-level.ts";
import { recycleFrames, takeSeries } from "../frame-series.ts";
import { checkFilterStillOn } from "../lost-filter.ts";
import type { Workbench } from "../step.ts";

/** Of full scale: the Sun may be brighter than when its light was measured. */
const levelFraction = 0.7;

export interface DiffuserTest {
  /** Mean above the pedestal, row-major. */
  readonly levels: Float32Array;
  readonly widthPx: number;
  readonly heightPx: number;
}

/**
 * A few frames through the diffuser, at the exposure that its light, measured before, asks for. For a rig that points at
 * the Sun with its cover open; afterwards the diffuser is out of the light and the gain as it was.
 * @returns `undefined` where there is no diffuser or nothing is known of its light
 */
export async function exposeThroughDiffuser(
  bench: Workbench,
  frameCount: number,
  signal: AbortSignal,
): Promise<DiffuserTest | undefined> {
  const { camera, diffuser } = bench.rig;
  const rate = bench.findings.lightRate.diffuser;
  if (!diffuser || !rate) return undefined;
  const before = await camera.setup(signal);
  await diffuser.ensureClosed(signal);
  await uncover(bench, signal);
  await setFlatGain(bench, signal);
  const exposureSeconds = exposureForLevel(bench, rate, levelFraction);
  let seen: DiffuserTest | undefined;
  await takeSeries(
    bench,
    { what: "frames to test the flat", exposureSeconds, frameType: "flat", frameCount },
    (frame) => {
      checkFilterStillOn(frame, topCodeAdu(bench));
      const { widthPx, heightPx, pixelsAdu } = frame;
      seen ??= { levels: new Float32Array(pixelsAdu.length), widthPx, heightPx };
      const { levels } = seen;
      for (let i = 0; i < levels.length; i++) levels[i]! += (pixelsAdu[i]! - rate.pedestalAdu) / frameCount;
      recycleFrames(bench, [pixelsAdu]);
      return undefined;
    },
    signal,
  );
  await diffuser.ensureOpen(signal);
  await camera.configure({ gain: before.gain }, signal);
  return seen;
}
