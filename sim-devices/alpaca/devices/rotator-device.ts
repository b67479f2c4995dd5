import { modulo } from "../../scene/sun/sun-place.ts";
import type { World } from "../../scene/world.ts";
import { invalidValue } from "../ascom-error.ts";
import { type DeviceOptions, type Identity, SimAlpacaDevice } from "../sim-alpaca-device.ts";

/** Sky angle = mechanical angle + what a sync set; reversed, the mechanical angle counts the other way. */
export class RotatorDevice extends SimAlpacaDevice {
  protected override readonly stateNames = ["IsMoving", "MechanicalPosition", "Position"];
  #offsetDegrees = 0;
  #reverse = false;

  constructor(identity: Identity, world: World, options: DeviceOptions) {
    super(identity, world, options, "Simulated rotator");
    const { rotator } = world;
    const mechanical = () => modulo(this.#sign * rotator.reported, 360);
    const sky = () => modulo(mechanical() + this.#offsetDegrees, 360);
    const turnTo = (mechanicalDegrees: number) => rotator.moveTo(modulo(this.#sign * mechanicalDegrees, 360));
    const circle = (degrees: number) => {
      if (degrees >= 0 && degrees < 360) return degrees;
      throw invalidValue(`an angle of ${degrees} degrees is outside 0 to 360`);
    };
    this.members.reads("canreverse", () => true);
    this.members.setting("Reverse", "boolean", {
      read: () => this.#reverse,
      write: (reverse) => {
        this.#reverse = reverse;
      },
    });
    this.members.reads("ismoving", () => rotator.moving);
    this.members.reads("mechanicalposition", mechanical);
    this.members.reads("position", sky);
    this.members.reads("targetposition", () =>
      modulo(this.#sign * rotator.target + this.#offsetDegrees, 360),
    );
    this.members.lacks("stepsize");
    this.members.writes("move", { Position: "number" }, ({ Position }) => {
      if (Math.abs(Position) >= 360)
        throw invalidValue(`a turn of ${Position} degrees is more than a circle`);
      turnTo(mechanical() + Position);
    });
    this.members.writes("moveabsolute", { Position: "number" }, ({ Position }) =>
      turnTo(circle(Position) - this.#offsetDegrees),
    );
    this.members.writes("movemechanical", { Position: "number" }, ({ Position }) => turnTo(circle(Position)));
    this.members.writes("sync", { Position: "number" }, ({ Position }) => {
      this.#offsetDegrees = circle(Position) - mechanical();
    });
    this.members.writes("halt", {}, () => rotator.stop());
  }

  override settings(): Record<string, unknown> {
    return { ...super.settings(), reverse: this.#reverse, syncDegrees: this.#offsetDegrees };
  }

  get #sign(): 1 | -1 {
    return this.#reverse ? -1 : 1;
  }
}
