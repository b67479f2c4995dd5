import type { Frame } from "../../../../drivers/roles/camera.ts";
import type { ShiftPx } from "../../../imaging/displaced/object-grid.ts";
import type { DiscPx } from "../../../imaging/displaced/sun-model.ts";
import type { TunedExposure } from "../../tune-exposure/tune-request.ts";

/** Frames of the plain Sun from round about, to hold a flat's light against. */
export interface LightLooks extends LooksRoundAbout {
  readonly tuned: TunedExposure;
  /** From other places, to prove a correction with. */
  readonly heldOut?: LooksRoundAbout;
}

export interface LooksRoundAbout {
  readonly frames: readonly Frame[];
  /** Of the Sun from the first frame, by the mount's account. */
  readonly shifts: readonly ShiftPx[];
  /** As the first frame shows it. */
  readonly disc?: DiscPx;
}

/** Why there are none. */
export interface NoLooks {
  readonly notMeasured: string;
}
