import { modulo } from "../../scene/sun/sun-place.ts";
import type { World } from "../../scene/world.ts";
import { SimDevice } from "../sim-device.ts";
import { numberVector, putNumbers, switchVector } from "../vector.ts";

const rotatorInterface = 4096;
const pollSeconds = 0.5;
const group = "Main Control";

export class RotatorDevice extends SimDevice {
  protected override readonly volatile = new Set(["ABS_ROTATOR_ANGLE", "SYNC_ROTATOR_ANGLE"]);

  constructor(name: string, world: World) {
    super(name, world, { driver: "rotator-driver", interfaceBits: rotatorInterface });
    const { rotator } = world;
    /** Reported less actual, after a sync. */
    let offsetDegrees = 0;
    const angle = numberVector({ name: "ABS_ROTATOR_ANGLE", label: "Goto", group, state: "Ok" }, [
      ["ANGLE", "Angle", modulo(rotator.reported, 360), 0, 360, 0, "%.2f"],
    ]);
    const sync = numberVector({ name: "SYNC_ROTATOR_ANGLE", label: "Sync", group }, [
      ["ANGLE", "Angle", 0, 0, 360, 0, "%.2f"],
    ]);
    const reverse = switchVector({ name: "ROTATOR_REVERSE", label: "Reverse", group }, [
      ["INDI_ENABLED", "Enabled"],
      ["INDI_DISABLED", "Disabled", true],
    ]);
    angle.refresh = () => putNumbers(angle, [modulo(rotator.reported + offsetDegrees, 360)]);
    this.on(angle, (values) => {
      const wanted = values.get("ANGLE");
      if (wanted === undefined || !this.takeNumbers(angle, values)) return;
      rotator.moveTo(wanted - offsetDegrees);
      this.set(angle, "Busy");
      poll.kick();
    });
    this.on(sync, (values) => {
      const actual = values.get("ANGLE");
      if (actual === undefined || !this.takeNumbers(sync, values)) return;
      offsetDegrees = actual - rotator.reported;
      this.set(sync, "Ok");
      this.set(angle, "Ok");
    });
    this.addButton({ name: "ROTATOR_ABORT_MOTION", label: "Abort Motion", group }, ["ABORT", "Abort"], () =>
      rotator.stop(),
    );
    this.keep(reverse);
    this.whenConnected(() => {
      angle.state = rotator.moving ? "Busy" : "Ok";
    });
    const poll = this.poll(
      () => (rotator.moving ? pollSeconds : undefined),
      () => this.set(angle, "Busy"),
    );
    this.whenAtRest("rotator", () => {
      poll.stop();
      this.set(angle, "Ok");
    });
  }
}
