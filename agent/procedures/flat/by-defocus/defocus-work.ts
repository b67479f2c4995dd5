import { MissingAbilityError } from "../../../../drivers/kit/errors.ts";
import type { Frame } from "../../../../drivers/roles/camera.ts";
import type { SkyOffset } from "../../../../drivers/roles/mount-sky.ts";
import { blurRadiusMostPx, litFraction } from "../../../imaging/defocus/defocus-room.ts";
import type { LeftoverScale } from "../../../imaging/defocus/leftover-by-scale.ts";
import type { SkyObservation } from "../../../imaging/defocus/look-levels.ts";
import type { Sharpness } from "../../../imaging/defocus/sharpness.ts";
import type { PlacePx } from "../../../imaging/defocus/sky-surface.ts";
import type { Shape } from "../../../imaging/numerics/shape.ts";
import { Aim, knownPointingOffset } from "../../centre/aim.ts";
import type { StepInput } from "../../step.ts";
import { StepError } from "../../step-error.ts";
import { sunTrackingRate } from "../../sun-tracking-rate.ts";
import type { TunedExposure } from "../../tune-exposure/tune-request.ts";
import { discOnFrame } from "../disc-on-frame.ts";
import type { FlatRequest } from "../flat-request.ts";
import { beginFlat, type FlatWork } from "../flat-work.ts";
import { lackOfRoom } from "../room-to-blur.ts";
import type { Approach } from "./focus-travel.ts";

/** The Sun in focus, to find it again. */
export interface Focus {
  readonly steps: number;
  readonly approach: Approach;
  readonly tuned: TunedExposure;
  readonly sharpness: Sharpness;
  /** Levels above the pedestal, mean of two frames. */
  readonly picture: Float32Array;
}

/** Another place out of focus than the flat's. */
export interface OtherPlace {
  readonly steps: number;
  /** Levels above the pedestal, mean of a few frames. */
  readonly picture: Float32Array;
  /** 1 where they are lit. */
  readonly litPx: Uint8Array;
}

/** A place out of focus, and what it leaves of the Sun. */
export interface OutOfFocus {
  readonly steps: number;
  readonly blurRadiusPx: number;
  readonly leftover: readonly LeftoverScale[];
}

export interface DefocusWork extends FlatWork {
  aim?: Aim;
  shape: Shape;
  binning: number;
  discRadiusPx: number;
  /** Of the disc in a frame from where the mount has the Sun centred. */
  disc: PlacePx;
  /** What the mount reports there, from the Sun. */
  home: SkyOffset;
  homeSteps?: number;
  focus?: Focus;
  /** To tell the side of focus by how dust shadows change. */
  otherPlace?: OtherPlace;
  place?: OutOfFocus;
  /** Of the Sun in the middle of the flat's frames, from where it was centred. */
  seriesShift: PlacePx;
  /** Looks from round about, before the series and after it. */
  readonly rounds: SkyObservation[][];
  readonly proofFrames: { readonly frame: Frame; readonly shift: PlacePx }[];
  sharpnessAfter?: Sharpness;
  /** How focus was looked for when it was put back. */
  readonly focusTries: FocusTry[];
}

/** The focuser brought to one place from one side, and how sharp the Sun was there. */
export interface FocusTry {
  readonly steps: number;
  readonly approach: Approach;
  readonly sharpness: number;
}

/** Looks lie that far from the centre, of the frame's short side and of the disc's radius. */
const lookOfSide = 0.25;
const lookOfDisc = 0.2;

export function beginDefocus(input: StepInput<FlatRequest>): DefocusWork {
  return {
    ...beginFlat(input),
    shape: { widthPx: 0, heightPx: 0 },
    binning: 1,
    discRadiusPx: 0,
    disc: { x: 0, y: 0 },
    home: { eastArcsec: 0, northArcsec: 0 },
    seriesShift: { x: 0, y: 0 },
    rounds: [],
    proofFrames: [],
    focusTries: [],
  };
}

/** @throws StepError when the rig or the disc is not fit for it; nothing has moved yet */
export async function checkDefocus(work: DefocusWork, signal: AbortSignal): Promise<void> {
  const { bench } = work;
  const { focuser, mount } = bench.rig;
  if (!focuser) throw new MissingAbilityError("rig", "a flat by defocus needs a focuser");
  if (!mount)
    throw new MissingAbilityError("rig", "a flat by defocus needs a mount to tell the Sun from the rig");
  const { shape, binning, discRadiusPx } = await discOnFrame(bench, "defocus", signal);
  Object.assign(work, { shape, binning, discRadiusPx });
  const { widthPx, heightPx } = shape;
  work.aim = new Aim(mount, bench);
  work.home = knownPointingOffset(bench);
  work.disc = { x: (widthPx - 1) / 2, y: (heightPx - 1) / 2 };
  const lack = lackOfRoom("defocus", { shape, discRadiusPx });
  if (lack) throw new StepError("DISC_TOO_SMALL_TO_DEFOCUS", lack.message, lack.whatToDo);
  bench.note("room to defocus", {
    discRadiusPx: work.discRadiusPx,
    blurRadiusMostPx: blurRadiusMostPx(work),
    litFraction: litFraction(work, blurRadiusMostPx(work)),
  });
}

/** How far looks lie from the centre [px]. */
export function lookDistancePx({ shape, discRadiusPx }: Pick<DefocusWork, "shape" | "discRadiusPx">): number {
  return Math.min(lookOfSide * Math.min(shape.widthPx, shape.heightPx), lookOfDisc * discRadiusPx);
}

/** To where the Sun is centred, always from the same side: the play of the gears must not shift the light. */
export async function returnToCentre({ bench, aim, home }: DefocusWork, signal: AbortSignal): Promise<void> {
  const mount = bench.rig.mount!;
  await mount.ensureUnparked(signal);
  await mount.ensureTracking(sunTrackingRate(mount), signal);
  await aim!.approachFromSameSide(home, signal);
}
