import { modulo } from "../../scene/sun/sun-place.ts";
import type { World } from "../../scene/world.ts";
import { SimDevice } from "../sim-device.ts";
import { Ticker } from "../ticker.ts";
import { numberVector, putNumbers, switchVector } from "../vector.ts";

const rotatorInterface = 4096;
const pollSeconds = 0.5;

export class RotatorDevice extends SimDevice {
  protected override readonly volatile = new Set(["ABS_ROTATOR_ANGLE", "SYNC_ROTATOR_ANGLE"]);
  readonly #poll: Ticker;
  readonly #readState: () => void;
  /** Reported less actual, after a sync. */
  #offsetDegrees = 0;

  constructor(name: string, world: World) {
    super(name, world.clock, { driver: "rotator-driver", interfaceBits: rotatorInterface });
    const group = "Main Control";
    const { rotator } = world;
    const angle = numberVector({ name: "ABS_ROTATOR_ANGLE", label: "Goto", group, state: "Ok" }, [
      ["ANGLE", "Angle", modulo(rotator.reported, 360), 0, 360, 0, "%.2f"],
    ]);
    const sync = numberVector({ name: "SYNC_ROTATOR_ANGLE", label: "Sync", group }, [
      ["ANGLE", "Angle", 0, 0, 360, 0, "%.2f"],
    ]);
    const abort = switchVector(
      { name: "ROTATOR_ABORT_MOTION", label: "Abort Motion", group, rule: "AtMostOne" },
      [["ABORT", "Abort"]],
    );
    const reverse = switchVector({ name: "ROTATOR_REVERSE", label: "Reverse", group }, [
      ["INDI_ENABLED", "Enabled"],
      ["INDI_DISABLED", "Disabled", true],
    ]);
    angle.refresh = () => putNumbers(angle, [modulo(rotator.reported + this.#offsetDegrees, 360)]);
    this.onNumber(angle, (asked) => {
      const wanted = asked.get("ANGLE");
      if (wanted === undefined || !this.takeNumbers(angle, asked)) return;
      rotator.moveTo(wanted - this.#offsetDegrees);
      this.set(angle, "Busy");
      this.#poll.kick();
    });
    this.onNumber(sync, (asked) => {
      const actual = asked.get("ANGLE");
      if (actual === undefined || !this.takeNumbers(sync, asked)) return;
      this.#offsetDegrees = actual - rotator.reported;
      this.set(sync, "Ok");
      this.set(angle, "Ok");
    });
    this.onSwitch(abort, () => {
      rotator.stop();
      this.set(abort, "Ok");
    });
    this.onSwitch(reverse, (asked) => {
      this.takeSwitches(reverse, asked);
      this.set(reverse, "Ok");
    });
    this.#poll = new Ticker(
      world.clock,
      () => (rotator.moving ? pollSeconds : undefined),
      () => this.set(angle, "Busy"),
    );
    this.#readState = () => {
      angle.state = rotator.moving ? "Busy" : "Ok";
      this.#poll.kick();
    };
    world.listen(({ part, what }) => {
      if (part !== "rotator" || !this.connected || (what !== "moveEnded" && what !== "moveStopped")) return;
      this.#poll.stop();
      this.set(angle, "Ok");
    });
  }

  protected override whenConnected(): void {
    this.#readState();
  }

  protected override whenDisconnected(): void {
    this.#poll.stop();
  }
}
