import type { World } from "../../scene/world.ts";
import { checkedNumber } from "../ascom-error.ts";
import { type DeviceOptions, type Identity, SimAlpacaDevice } from "../sim-alpaca-device.ts";

const turning = -1;

/** Slots count from 0 here and from 1 in the scene. */
export class WheelDevice extends SimAlpacaDevice {
  protected override readonly stateNames = ["Position"];

  constructor(identity: Identity, world: World, options: DeviceOptions) {
    super(identity, world, options, "Simulated filter wheel");
    const { wheel } = world;
    const { slots } = world.spec.rig;
    this.members.reads("names", () => slots.map(({ name }) => name));
    this.members.reads("focusoffsets", () => slots.map(() => 0));
    this.members.setting("Position", "int", {
      read: () => (wheel.moving ? turning : Math.round(wheel.reported) - 1),
      write: (slot) => wheel.moveTo(checkedNumber("slot", slot, 0, slots.length - 1) + 1),
    });
  }
}
