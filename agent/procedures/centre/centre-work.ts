import { MissingAbilityError } from "../../../drivers/kit/errors.ts";
import type { Mount } from "../../../drivers/roles/mount.ts";
import type { CameraMatrix } from "../../imaging/disc/camera-on-sky.ts";
import type { PointPx } from "../../imaging/disc/circle-fit.ts";
import type { SkyOffset } from "../../sky/tangent-plane.ts";
import type { StepWork, Workbench } from "../step.ts";
import { Aim } from "./aim.ts";
import type { CentreFound, CentreRequest } from "./centre-request.ts";
import type { FrameTaker, LimbObservation, Observation } from "./frame-taker.ts";

/** What the states of a centring hand to each other. */
export class CentreWork implements StepWork<CentreRequest, CentreFound> {
  #aim: Aim | undefined;
  #frameTaker: FrameTaker | undefined;
  /** The newest look that showed the limb. */
  limb: LimbObservation | undefined;
  /** Where the mount said it pointed then. */
  limbFrom: SkyOffset | undefined;
  camera: CameraMatrix | undefined;
  /** True when it comes from an earlier run or step and no move has confirmed it yet. */
  cameraUnproved = false;
  isCentred = false;
  /** How often a camera matrix was given up. */
  forgotten = 0;
  /** The camera's gain while looking: its lowest. */
  gain = 0;
  result?: CentreFound;

  constructor(
    readonly bench: Workbench,
    readonly request: CentreRequest,
  ) {}

  /** @throws MissingAbilityError; plans without a mount are refused before they begin */
  get mount(): Mount {
    const { mount } = this.bench.rig;
    if (!mount) throw new MissingAbilityError("rig", "centring needs a mount");
    return mount;
  }

  get aim(): Aim {
    this.#aim ??= new Aim(this.mount, this.bench, this.request.searchDegrees);
    return this.#aim;
  }

  get frameTaker(): FrameTaker {
    if (!this.#frameTaker) throw new Error("the camera is not set up yet");
    return this.#frameTaker;
  }
  set frameTaker(frameTaker: FrameTaker) {
    this.#frameTaker = frameTaker;
  }

  /** Where the disc's centre lies from the middle of the frame. */
  offsetPx(look: LimbObservation): PointPx {
    const { widthPx, heightPx } = this.frameTaker.shape;
    return { xPx: look.disc.xPx - (widthPx - 1) / 2, yPx: look.disc.yPx - (heightPx - 1) / 2 };
  }

  /** Looks, and keeps the look when it shows the limb. */
  async lookForLimb(signal: AbortSignal): Promise<LimbObservation | undefined> {
    const look = await this.frameTaker.observe(signal);
    return (await this.keepIfLimb(look, signal)) ? this.limb : undefined;
  }

  async keepIfLimb(look: Observation, signal: AbortSignal): Promise<boolean> {
    if (look.seen !== "limb") return false;
    this.limb = look;
    this.limbFrom = await this.aim.reported(signal);
    return true;
  }
}
