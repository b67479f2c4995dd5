import { MissingAbilityError } from "../../../../drivers/kit/errors.ts";
import { startStopwatch } from "../../../../drivers/kit/stopwatch.ts";
import { lengthArcsec, type SkyOffset } from "../../../../drivers/roles/mount-sky.ts";
import { shiftForMove } from "../../../imaging/disc/camera-on-sky.ts";
import { driftRadiusPx } from "../../../imaging/displaced/drift/drift-room.ts";
import { blockLevels, hasLimbEntered } from "../../../imaging/displaced/drift/limb-entered.ts";
import type { Shape } from "../../../imaging/numerics/shape.ts";
import { Aim, addOffsets, knownPointingOffset, subtractOffset } from "../../centre/aim.ts";
import { readDark } from "../../dark-master.ts";
import type { CameraOnSky } from "../../findings.ts";
import { recycleFrames } from "../../frame-series.ts";
import { checkFilterStillOn } from "../../lost-filter.ts";
import { SeriesNotes, unusedFileName } from "../../master-files.ts";
import { runSubstep } from "../../run-step.ts";
import type { StepInput } from "../../step.ts";
import { StepError } from "../../step-error.ts";
import { tuneExposure } from "../../tune-exposure/tune-exposure.ts";
import { discOnFrame } from "../disc-on-frame.ts";
import type { FlatRequest } from "../flat-request.ts";
import { type FlatWork, proofFrameCount } from "../flat-work.ts";
import { edgeFractionOf } from "../frame-edge.ts";
import { conversionFromPair } from "../measure-conversion.ts";
import { lackOfRoom } from "../room-to-blur.ts";
import { type DriftFrame, writeDriftFrame } from "./drift-frames.ts";
import { driftPath, exposeWhileMoving } from "./drift-path.ts";

export interface DriftWork extends Omit<FlatWork, "sampleFrame" | "edges"> {
  /** Of its frames, below the run's folder. */
  readonly folder: string;
  readonly frames: DriftFrame[];
  shape: Shape;
  discRadiusPx: number;
  radiusPx: number;
  droppedFrames: number;
}

/** Of the frame's short side, unless the plan says otherwise. */
const radiusOfSideUsual = 0.25;
/** The image may move by so much during an exposure [px]. */
const smearPxMax = 0.5;
/** Light of a slow leg: reckoned for each frame when the Sun's sinking is foretold [s]. */
const secondsPerFrame = 20;

export function beginDrift(input: StepInput<FlatRequest>): DriftWork {
  return {
    ...input,
    notes: new SeriesNotes(),
    folder: unusedFileName(input.bench, "drift"),
    frames: [],
    shape: { widthPx: 0, heightPx: 0 },
    discRadiusPx: 0,
    radiusPx: 0,
    droppedFrames: 0,
  };
}

/** @throws StepError when the disc does not fill the frame with room to wander, before anything moves */
export async function checkDriftRoom(work: DriftWork, signal: AbortSignal): Promise<void> {
  const { bench, request } = work;
  if (!bench.rig.mount) throw new MissingAbilityError("rig", "a flat by drift needs a mount");
  const { shape, discRadiusPx } = await discOnFrame(bench, "drift", signal);
  Object.assign(work, { shape, discRadiusPx });
  const radiusPx = driftRadiusPx(
    work.shape,
    work.discRadiusPx,
    request.driftRadiusFraction ?? radiusOfSideUsual,
  );
  if (radiusPx === undefined) {
    const { message, whatToDo } = lackOfRoom("drift", work)!;
    throw new StepError("DISC_TOO_SMALL_TO_DRIFT", message, whatToDo);
  }
  work.radiusPx = radiusPx;
  bench.note("room to drift", { discRadiusPx: work.discRadiusPx, radiusPx });
}

export async function tuneDrift(work: DriftWork, signal: AbortSignal): Promise<void> {
  const { bench, request } = work;
  const seriesSeconds = frameCountOf(request) * secondsPerFrame;
  const tuneRequest = { blur: "drift", levelFraction: request.levelFraction, seriesSeconds } as const;
  work.tuned = await runSubstep(tuneExposure, { bench, request: tuneRequest }, signal);
}

/** All frames while the mount wanders; those that prove the flat lie between the others. */
export async function exposeDriftFrames(work: DriftWork, signal: AbortSignal): Promise<void> {
  const { bench, request } = work;
  const { clock, findings, rig } = bench;
  work.dark = readDark(bench);
  const tuned = work.tuned!;
  const { arcsecPerPx } = findings.cameraOnSky!;
  const aim = new Aim(rig.mount!, bench);
  const home = knownPointingOffset(bench);
  const proofFrames = proofFrameCount(request);
  const wanted = frameCountOf(request);
  const places = driftPath(wanted, work.radiusPx * arcsecPerPx);
  const atCentre = await lookAtRest(work, signal);
  const exposuresMax = Math.ceil(wanted * 1.3) + 4;
  const elapsedSeconds = startStopwatch(clock);
  let smearPxMost = 0;
  for (let leg = 0; work.frames.length < wanted && leg < exposuresMax; leg++) {
    const to = addOffsets(home, places[leg % wanted]!);
    const moving = await exposeWhileMoving(bench, aim, to, tuned.exposureSeconds, signal);
    const { frame, arcsecPerSecond } = moving;
    checkFilterStillOn(frame, tuned.topAdu);
    const fromCentre = subtractOffset(moving.at, home);
    const smearPx = (tuned.exposureSeconds * arcsecPerSecond) / arcsecPerPx;
    const reason =
      smearPx > smearPxMax
        ? "moved too far in one exposure"
        : limbMayShow(work, fromCentre) ||
            hasLimbEntered(blockLevels(frame.pixelsAdu, work.shape, tuned.pedestalAdu), atCentre)
          ? "the limb came near"
          : undefined;
    if (reason) {
      work.droppedFrames++;
      bench.note("frame dropped", { reason, smearPx });
    } else {
      smearPxMost = Math.max(smearPxMost, smearPx);
      keepFrame(work, { ...moving, at: fromCentre }, isProofFrame(work.frames.length, proofFrames, wanted));
    }
    const perFrame = elapsedSeconds() / (leg + 1);
    const done = work.frames.length;
    bench.progress({ what: "flat frames", done, of: wanted, secondsLeft: perFrame * (wanted - done) });
    signal.throwIfAborted();
  }
  if (work.frames.length < wanted)
    throw new StepError(
      "DRIFT_NOT_CLEAN",
      `only ${work.frames.length} of ${wanted} frames were free of the limb and of smear, in ${exposuresMax} exposures`,
      "Centre the Sun again and look whether the mount tracks; the notes say why each frame was dropped.",
    );
  bench.note("drifted", { frames: wanted, dropped: work.droppedFrames, smearPxMost });
}

/** Of every so many frames one; never the first or the last. */
export function isProofFrame(index: number, proofFrames: number, of: number): boolean {
  return Math.floor(((index + 0.5) * proofFrames) / of) > Math.floor(((index - 0.5) * proofFrames) / of);
}

/** Where the disc's centre lies in a frame, by the mount's account. */
export function discPlacePx(
  shape: Shape,
  camera: CameraOnSky,
  fromCentre: SkyOffset,
): { x: number; y: number } {
  const { xPx, yPx } = shiftForMove(camera, fromCentre);
  return { x: (shape.widthPx - 1) / 2 + xPx, y: (shape.heightPx - 1) / 2 + yPx };
}

function frameCountOf(request: FlatRequest): number {
  return request.frames + proofFrameCount(request);
}

/** Two frames before anything drifts: their noise tells the conversion. @returns what blocks show without the limb */
async function lookAtRest(work: DriftWork, signal: AbortSignal): Promise<Float64Array> {
  const { exposureSeconds, pedestalAdu } = work.tuned!;
  const { camera } = work.bench.rig;
  const first = await camera.expose({ exposureSeconds, frameType: "flat" }, signal);
  const second = await camera.expose({ exposureSeconds, frameType: "flat" }, signal);
  conversionFromPair(work, [first, second], work.shape);
  const levels = blockLevels(first.pixelsAdu, work.shape, pedestalAdu);
  recycleFrames(work.bench, [first.pixelsAdu, second.pixelsAdu]);
  return levels;
}

/** A frame's corner beyond 0.93 of the radius, by the mount's account. */
function limbMayShow({ bench, shape, discRadiusPx }: DriftWork, fromCentre: SkyOffset): boolean {
  const { arcsecPerPx } = bench.findings.cameraOnSky!;
  const cornerPx = Math.hypot(shape.widthPx, shape.heightPx) / 2;
  return lengthArcsec(fromCentre) / arcsecPerPx + cornerPx > 0.93 * discRadiusPx;
}

function keepFrame(work: DriftWork, moving: Parameters<typeof writeDriftFrame>[3], isProof: boolean): void {
  const { bench, notes, frames } = work;
  const file = writeDriftFrame(bench, work.folder, frames.length, moving);
  if (!isProof) notes.add(moving.frame);
  const edgeFraction = edgeFractionOf(bench, work.tuned!, moving.frame);
  frames.push({ file, at: moving.at, edgeFraction, isProof });
}
