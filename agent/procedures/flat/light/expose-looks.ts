import type { Frame } from "../../../../drivers/roles/camera.ts";
import type { SkyOffset } from "../../../../drivers/roles/mount-sky.ts";
import { moveForShift, shiftForMove } from "../../../imaging/disc/camera-on-sky.ts";
import type { Shape } from "../../../imaging/numerics/shape.ts";
import { Aim, knownPointingOffset, subtractOffset } from "../../centre/aim.ts";
import { exposeTuned } from "../../frame-series.ts";
import { runSubstep } from "../../run-step.ts";
import type { Workbench } from "../../step.ts";
import { StepError } from "../../step-error.ts";
import { tuneExposure } from "../../tune-exposure/tune-exposure.ts";
import type { TunedExposure } from "../../tune-exposure/tune-request.ts";
import { type FlatWork, openToSun } from "../flat-work.ts";
import type { LightLooks, NoLooks } from "./light-looks.ts";
import { discOfLook } from "./look-disc.ts";
import { armFraction, heldOutPlaces, type LookPlace, lookPlaces } from "./look-places.ts";

/** Looks are laid on one another by what they show: only the shaking has to end. */
const lookSettleSeconds = 1;
/** Upper edge over full scale, where the flat's own is not lower. */
const lookLevel = 0.7;

/** For the flat in hand, when its frames are taken. */
export async function exposeLightLooks(work: FlatWork, signal: AbortSignal): Promise<void> {
  work.looks = await exposeLooks(work, signal);
}

/**
 * Takes the diffuser out of the light, looks at the Sun from nine pointings about the centre, and points there again. A flat
 * whose light is to be corrected takes nine more, from other places, to prove that with.
 * What keeps it from looking, but for a device that fails and what is not safe, leaves the flat's light unproved.
 */
async function exposeLooks(
  work: Pick<FlatWork, "bench" | "request">,
  signal: AbortSignal,
): Promise<LightLooks | NoLooks> {
  const { bench, request } = work;
  if (!request.proveLight) return { notMeasured: "the plan does not want it (`proveLight: false`)" };
  const { mount } = bench.rig;
  const { cameraOnSky } = bench.findings;
  if (!mount) return { notMeasured: "the rig has no mount that could displace the Sun" };
  if (!cameraOnSky)
    return { notMeasured: "this rig has never been centred on the Sun: put a `centre` step before the flat" };
  try {
    await openToSun(work, signal);
    const levelFraction = Math.min(lookLevel, request.levelFraction);
    const what = "tuning for looks at the Sun";
    const tuneRequest = { blur: "none", levelFraction, toleranceFraction: 0.05, what } as const;
    const tuned = await runSubstep(tuneExposure, { bench, request: tuneRequest }, signal);
    const aim = new Aim(mount, bench);
    const places = request.correctLight ? [...lookPlaces, ...heldOutPlaces] : lookPlaces;
    const seen = await exposeRoundAbout(bench, aim, tuned, places, signal);
    await aim.slewFromSameSide(knownPointingOffset(bench), signal);
    bench.note("looks at the Sun from round about", { frames: seen.length });
    const looksOf = (part: readonly PlacedFrame[]) => ({
      ...laidOut(bench, part),
      disc: discOfLook(bench, part[0]!.frame, tuned),
    });
    const [first, heldOut] = [seen.slice(0, lookPlaces.length), seen.slice(lookPlaces.length)];
    return { ...looksOf(first), tuned, ...(heldOut.length > 0 ? { heldOut: looksOf(heldOut) } : {}) };
  } catch (error) {
    signal.throwIfAborted();
    if (!(error instanceof StepError) || error.unsafe !== false) throw error;
    bench.note("the light could not be looked at", { because: error.message });
    return { notMeasured: error.message };
  }
}

interface PlacedFrame {
  readonly frame: Frame;
  /** As the mount reports it. */
  readonly at: SkyOffset;
}

async function exposeRoundAbout(
  bench: Workbench,
  aim: Aim,
  tuned: TunedExposure,
  places: readonly LookPlace[],
  signal: AbortSignal,
): Promise<PlacedFrame[]> {
  const camera = bench.findings.cameraOnSky!;
  const seen: PlacedFrame[] = [];
  let before: LookPlace = [0, 0];
  for (const place of places) {
    if (seen.length > 0) {
      const shape = shapeOf(seen[0]!.frame);
      const armPx = armFraction * Math.min(shape.widthPx, shape.heightPx);
      const shift = { xPx: armPx * (place[0] - before[0]), yPx: armPx * (place[1] - before[1]) };
      await aim.moveBy(moveForShift(camera, shift), signal, lookSettleSeconds);
      before = place;
    }
    const at = await aim.reported(signal);
    seen.push({ at, frame: await exposeTuned(bench, tuned, "light", signal) });
    bench.progress({ what: "looking at the Sun from round about", done: seen.length, of: places.length });
    signal.throwIfAborted();
  }
  return seen;
}

function laidOut(bench: Workbench, seen: readonly PlacedFrame[]): Pick<LightLooks, "frames" | "shifts"> {
  const shifts = seen.map(({ at }) => {
    const { xPx, yPx } = shiftForMove(bench.findings.cameraOnSky!, subtractOffset(at, seen[0]!.at));
    return { x: xPx, y: yPx };
  });
  return { frames: seen.map(({ frame }) => frame), shifts };
}

function shapeOf({ widthPx, heightPx }: Frame): Shape {
  return { widthPx, heightPx };
}
