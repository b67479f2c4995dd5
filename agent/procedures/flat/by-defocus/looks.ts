import type { Frame } from "../../../../drivers/roles/camera.ts";
import { lengthArcsec, type SkyOffset } from "../../../../drivers/roles/mount-sky.ts";
import { measureBlockLevels, type SkyObservation } from "../../../imaging/defocus/look-levels.ts";
import type { PlacePx } from "../../../imaging/defocus/sky-surface.ts";
import { shiftForMove } from "../../../imaging/disc/camera-on-sky.ts";
import { median } from "../../../imaging/numerics/order-statistics.ts";
import { addOffsets, scaleOffset, subtractOffset } from "../../centre/aim.ts";
import { exposeTuned } from "../../frame-series.ts";
import { StepError } from "../../step-error.ts";
import { readUnhealthyPixels } from "../../unhealthy-px.ts";
import { exposeFlats } from "../flat-series.ts";
import { proofFrameCount } from "../flat-work.ts";
import { type DefocusWork, lookDistancePx, returnToCentre } from "./defocus-work.ts";

/** Where looks are taken from, in look distances east and north; nowhere the same distance twice, or one wavelength would stay unseen. */
const places = {
  middle: [0, 0],
  east: [1, 0],
  west: [-0.75, 0],
  north: [0, 0.9],
  south: [0, -0.65],
} as const;
type PlaceName = keyof typeof places;

/** There and back again, so that a steady change of transparency cancels; every other round the other way about. */
const roundOrders: readonly (readonly PlaceName[])[] = [
  ["middle", "east", "west", "west", "east", "north", "south", "south", "north"],
  ["middle", "west", "east", "east", "west", "south", "north", "north", "south"],
];
const shortRound: readonly PlaceName[] = ["middle", "east", "north"];
/** The two places that prove the light's model: no look was taken from there. */
const proofPlaces = [
  [0.5, 0.5],
  [-0.45, -0.45],
] as const;
const framesPerLook = 2;
/** More than the play of any mount worth the name; as the approach of slews. */
const approachArcsec = 150;
/** A look that is so much dimmer than the one before is one through a cloud. */
const dimmest = 0.7;

/** A short round: enough to see whether the blur has taken away what it can. */
export function exposeShortRound(work: DefocusWork, signal: AbortSignal): Promise<SkyObservation[]> {
  return exposeRound(work, shortRound, signal);
}

/** Two rounds of looks from east, west, north and south of the centre, in opposite order. */
export async function exposeRounds(work: DefocusWork, signal: AbortSignal): Promise<void> {
  for (const order of roundOrders) {
    work.bench.progress({ what: "looking from round about", done: work.rounds.length, of: 4 });
    work.rounds.push(await exposeRound(work, order, signal));
  }
  await returnToCentre(work, signal);
}

async function exposeRound(
  work: DefocusWork,
  order: readonly PlaceName[],
  signal: AbortSignal,
): Promise<SkyObservation[]> {
  await returnToCentre(work, signal);
  const pointing = new Pointing(work);
  const looks: SkyObservation[] = [];
  let before: number | undefined;
  for (const name of order) {
    const [east, north] = places[name];
    const { frames, shift, utcMs } = await pointing.look({ east, north }, framesPerLook, signal);
    const look = { ...levelsOf(work, frames), shift, utcMs };
    const level = median([...look.first].filter((value) => value > 0)) ?? 0;
    if (before !== undefined && level < dimmest * before)
      throw new StepError(
        "LIGHT_UNSTEADY",
        `the light fell to ${((100 * level) / before).toFixed(0)} % from one look to the next`,
        "Wait for cloud to pass, then run the plan again.",
      );
    before = level;
    looks.push(look);
  }
  return looks;
}

/** Frames from two opposite places between those of the looks: the model of the light does not know them. */
export async function exposeDefocusProof(work: DefocusWork, signal: AbortSignal): Promise<void> {
  const { bench, request } = work;
  const count = proofFrameCount(request);
  await returnToCentre(work, signal);
  const pointing = new Pointing(work);
  for (const [k, [east, north]] of proofPlaces.entries()) {
    const own = k === 0 ? Math.ceil(count / 2) : Math.floor(count / 2);
    const { frames, shift } = await pointing.look({ east, north }, own, signal);
    for (const frame of frames) work.proofFrames.push({ frame, shift });
    bench.progress({ what: "frames to prove the flat", done: work.proofFrames.length, of: count });
  }
  await returnToCentre(work, signal);
}

/** Moves about the centre so that every place is arrived at as slews arrive: from the east and the south. */
class Pointing {
  #at = { east: 0, north: 0 };

  constructor(readonly work: DefocusWork) {}

  async look(
    to: { readonly east: number; readonly north: number },
    frameCount: number,
    signal: AbortSignal,
  ): Promise<{ frames: Frame[]; shift: PlacePx; utcMs: number }> {
    const { bench, aim, tuned } = this.work;
    await this.#moveTo(to, signal);
    const before = await aim!.reported(signal);
    const startedUtcMs = bench.clock.nowMs();
    const frames: Frame[] = [];
    while (frames.length < frameCount) frames.push(await exposeTuned(bench, tuned!, "flat", signal));
    const utcMs = (startedUtcMs + bench.clock.nowMs()) / 2;
    return { frames, utcMs, shift: shiftPx(this.work, before) };
  }

  async #moveTo(to: { readonly east: number; readonly north: number }, signal: AbortSignal): Promise<void> {
    const { aim, bench } = this.work;
    const unit = lookDistancePx(this.work) * bench.findings.cameraOnSky!.arcsecPerPx;
    const by = {
      eastArcsec: unit * (to.east - this.#at.east),
      northArcsec: unit * (to.north - this.#at.north),
    };
    this.#at = { ...to };
    if (lengthArcsec(by) === 0) return;
    const round = {
      eastArcsec: by.eastArcsec > 0 ? approachArcsec : 0,
      northArcsec: by.northArcsec < 0 ? -approachArcsec : 0,
    };
    await aim!.moveBy(addOffsets(by, round), signal);
    if (lengthArcsec(round) > 0) await aim!.moveBy(scaleOffset(round, -1), signal);
  }
}

/** Where the Sun lies, by the mount's account, from where it was centred. */
function shiftPx({ bench, home }: DefocusWork, reported: SkyOffset): PlacePx {
  const { xPx, yPx } = shiftForMove(bench.findings.cameraOnSky!, subtractOffset(reported, home));
  return { x: xPx, y: yPx };
}

/** The frames of the flat, and where the Sun lay in the middle of them. */
export async function exposeCentred(work: DefocusWork, signal: AbortSignal): Promise<void> {
  const before = shiftPx(work, await work.aim!.reported(signal));
  await exposeFlats(work, signal);
  const after = shiftPx(work, await work.aim!.reported(signal));
  work.seriesShift = { x: (before.x + after.x) / 2, y: (before.y + after.y) / 2 };
  work.bench.note("where the Sun lay in the flat's frames", { before, after });
}

function levelsOf(work: DefocusWork, frames: readonly Frame[]) {
  const { bench, shape, tuned } = work;
  const pxCount = shape.widthPx * shape.heightPx;
  const dark = work.dark?.meanAdu ?? new Float32Array(pxCount).fill(tuned!.pedestalAdu);
  const usePx =
    readUnhealthyPixels(bench, pxCount)?.map((bad) => (bad === 1 ? 0 : 1)) ?? new Uint8Array(pxCount).fill(1);
  return measureBlockLevels(
    frames.map(({ pixelsAdu }) => pixelsAdu),
    dark,
    usePx,
    shape,
  );
}
