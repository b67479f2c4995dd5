import type { World } from "../../scene/world.ts";
import { SimDevice } from "../sim-device.ts";
import { numberOf, numberVector, putNumbers, selectedSwitch, switchVector } from "../vector.ts";

const focuserInterface = 8;
const pollSeconds = 0.25;
const group = "Main Control";

export class FocuserDevice extends SimDevice {
  protected override readonly volatile = new Set(["ABS_FOCUS_POSITION", "REL_FOCUS_POSITION"]);

  constructor(name: string, world: World) {
    super(name, world, { driver: "focuser-driver", interfaceBits: focuserInterface });
    const { focuser, weather } = world;
    const { stepsMin, stepsMax } = world.spec.focuser;
    const abs = numberVector({ name: "ABS_FOCUS_POSITION", label: "Absolute Position", group, state: "Ok" }, [
      ["FOCUS_ABSOLUTE_POSITION", "Steps", focuser.reported, stepsMin, stepsMax, 1, "%.f"],
    ]);
    const rel = numberVector({ name: "REL_FOCUS_POSITION", label: "Relative Position", group }, [
      ["FOCUS_RELATIVE_POSITION", "Steps", 0, 0, stepsMax - stepsMin, 1, "%.f"],
    ]);
    const direction = switchVector({ name: "FOCUS_MOTION", label: "Direction", group }, [
      ["FOCUS_INWARD", "Focus In", true],
      ["FOCUS_OUTWARD", "Focus Out"],
    ]);
    const max = numberVector({ name: "FOCUS_MAX", label: "Max. Position", group, perm: "ro" }, [
      ["FOCUS_MAX_VALUE", "Steps", stepsMax, stepsMax, stepsMax, 0, "%.f"],
    ]);
    const temperature = numberVector({ name: "FOCUS_TEMPERATURE", label: "Temperature", group, perm: "ro" }, [
      ["TEMPERATURE", "Celsius", weather.readings.temperatureCelsius, -50, 70, 0, "%6.2f"],
    ]);
    abs.refresh = () => putNumbers(abs, [Math.round(focuser.reported)]);
    temperature.refresh = () => putNumbers(temperature, [weather.readings.temperatureCelsius]);
    let isRelative = false;
    const start = (steps: number) => {
      focuser.moveTo(steps);
      this.set(abs, "Busy");
      poll.kick();
    };
    this.on(abs, (values) => {
      const steps = values.get("FOCUS_ABSOLUTE_POSITION");
      if (steps !== undefined && this.takeNumbers(abs, values)) start(Math.round(steps));
    });
    this.on(rel, (values) => {
      if (!this.takeNumbers(rel, values)) return;
      const sign = selectedSwitch(direction) === "FOCUS_OUTWARD" ? 1 : -1;
      const target = focuser.reported + sign * numberOf(rel, "FOCUS_RELATIVE_POSITION");
      if (target < stepsMin || target > stepsMax) {
        this.message("ERROR", `Target ${target} is outside ${stepsMin} to ${stepsMax} steps.`);
        this.set(rel, "Alert");
        return;
      }
      isRelative = true;
      this.set(rel, "Busy");
      start(target);
    });
    this.keep(direction);
    this.addButton({ name: "FOCUS_ABORT_MOTION", label: "Abort Motion", group }, ["ABORT", "Abort"], () =>
      focuser.stop(),
    );
    this.show(max);
    this.show(temperature);
    this.whenConnected(() => {
      abs.state = focuser.moving ? "Busy" : "Ok";
    });
    const poll = this.poll(
      () => (focuser.moving ? pollSeconds : undefined),
      () => this.set(abs, "Busy"),
    );
    this.whenAtRest("focuser", (hasArrived) => {
      poll.stop();
      const state = hasArrived ? "Ok" : "Idle";
      if (isRelative) this.set(rel, state);
      isRelative = false;
      this.set(abs, state);
    });
  }
}
