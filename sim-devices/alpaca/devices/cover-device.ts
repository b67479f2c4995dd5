import type { Glide } from "../../scene/mechanics/glide.ts";
import type { World } from "../../scene/world.ts";
import { invalidOperation } from "../ascom-error.ts";
import { type DeviceOptions, type Identity, SimAlpacaDevice } from "../sim-alpaca-device.ts";

const coverStatus = { closed: 1, moving: 2, open: 3, unknown: 4 } as const;
const noCalibrator = 0;

/** A leaf in front of the telescope, without a light in it. Closed means in the light: the diffuser in place. */
export class CoverDevice extends SimAlpacaDevice {
  protected override readonly stateNames = [
    "Brightness",
    "CalibratorState",
    "CoverState",
    "CalibratorChanging",
    "CoverMoving",
  ];

  constructor(identity: Identity, world: World, options: DeviceOptions, part: "cover" | "diffuser") {
    super(identity, world, options, `Simulated ${part} without a light`);
    const leaf = world[part];
    const closedAt = part === "cover" ? 0 : 1;
    this.members.reads("coverstate", () => statusOf(leaf, closedAt));
    this.members.reads("calibratorstate", () => noCalibrator);
    this.members.lacks("brightness", "maxbrightness");
    this.members.writes("opencover", {}, () => move(leaf, 1 - closedAt));
    this.members.writes("closecover", {}, () => move(leaf, closedAt));
    this.members.writes("haltcover", {}, () => leaf.stop());
    this.members.lacksWrite("calibratoron", { Brightness: "int" });
    this.members.lacksWrite("calibratoroff");
    if (!this.isNew) return;
    this.members.reads("covermoving", () => leaf.moving);
    this.members.reads("calibratorchanging", () => false);
  }
}

function statusOf(leaf: Glide, closedAt: number): number {
  if (leaf.moving) return coverStatus.moving;
  if (leaf.reported === closedAt) return coverStatus.closed;
  return leaf.reported === 1 - closedAt ? coverStatus.open : coverStatus.unknown;
}

function move(leaf: Glide, target: number): void {
  if (leaf.moving && leaf.target !== target) {
    leaf.refuse(target);
    throw invalidOperation("it is in motion");
  }
  if (!leaf.moving) leaf.moveTo(target);
}
