import { MissingAbilityError } from "../../../../drivers/kit/errors.ts";
import { uncover } from "../../../safing/uncover.ts";
import { exposureForLevel } from "../../exposure-for-level.ts";
import { runSubstep } from "../../run-step.ts";
import { StepError } from "../../step-error.ts";
import { tuneExposure } from "../../tune-exposure/tune-exposure.ts";
import { type FlatWork, openToSun, proofFrameCount } from "../flat-work.ts";

/** Of full scale, for a look at the Sun without blur. */
const lookLevel = 0.6;

/** @throws StepError without a leak check, or with too large a leak; nothing has moved yet */
export async function checkLeak({ bench, request }: FlatWork): Promise<void> {
  if (!bench.rig.diffuser) throw new MissingAbilityError("rig", "a flat by diffuser needs a diffuser");
  const { leak } = bench.findings;
  if (!leak)
    throw new StepError(
      "LEAK_CHECK_MISSING",
      "a flat by diffuser needs a leak check before it, and this run has had none",
      "Put a `leak-check` step before the flat.",
    );
  if (leak.leakFraction > request.leakLimitFraction && leak.leakFraction > leak.detectionLimitFraction)
    throw new StepError(
      "LIGHT_LEAK",
      `stray light of ${(100 * leak.leakFraction).toFixed(3)} % of the flat's level is above the limit of ${(100 * request.leakLimitFraction).toFixed(3)} %`,
      "Close the leak, check again, then take the flat.",
    );
}

/** One frame of the bare Sun, to look for what is left of it in the flat. */
export async function exposeBareSun(work: FlatWork, signal: AbortSignal): Promise<void> {
  const { bench } = work;
  const exposureSeconds = exposureForLevel(bench, bench.findings.lightRate.none!, lookLevel);
  await openToSun(work, signal);
  work.sun = await bench.rig.camera.expose({ exposureSeconds, frameType: "light" }, signal);
  bench.note("the Sun without blur", { exposureSeconds });
}

/** The diffuser goes into the light before the cover opens: no moment of full light on a long exposure. */
export async function openThroughDiffuser({ bench }: FlatWork, signal: AbortSignal): Promise<void> {
  await bench.rig.diffuser!.ensureClosed(signal);
  await uncover(bench, signal);
}

export async function tuneFlat(work: FlatWork, signal: AbortSignal): Promise<void> {
  const { bench, request } = work;
  const known = bench.findings.leak?.exposureSeconds ?? 0;
  const seriesSeconds = (request.frames + proofFrameCount(request)) * (known + 1);
  const tuneRequest = { blur: "diffuser", levelFraction: request.levelFraction, seriesSeconds } as const;
  work.tuned = await runSubstep(tuneExposure, { bench, request: tuneRequest }, signal);
}
