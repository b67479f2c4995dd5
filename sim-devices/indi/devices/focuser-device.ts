import type { World } from "../../scene/world.ts";
import { type NumbersAsked, SimDevice } from "../sim-device.ts";
import { Ticker } from "../ticker.ts";
import { numberOf, numberVector, putNumbers, selectedSwitch, switchVector } from "../vector.ts";

const focuserInterface = 8;
const pollSeconds = 0.25;

export class FocuserDevice extends SimDevice {
  readonly #world: World;
  readonly #abs;
  readonly #rel;
  readonly #direction;
  readonly #poll: Ticker;
  #relative = false;
  protected override readonly volatile = new Set(["ABS_FOCUS_POSITION", "REL_FOCUS_POSITION"]);

  constructor(name: string, world: World) {
    super(name, world.clock, { driver: "focuser-driver", interfaceBits: focuserInterface });
    this.#world = world;
    const { stepsMin, stepsMax } = world.spec.focuser;
    const group = "Main Control";
    const abs = numberVector({ name: "ABS_FOCUS_POSITION", label: "Absolute Position", group, state: "Ok" }, [
      ["FOCUS_ABSOLUTE_POSITION", "Steps", world.focuser.reported, stepsMin, stepsMax, 1, "%.f"],
    ]);
    this.#abs = abs;
    this.#rel = numberVector({ name: "REL_FOCUS_POSITION", label: "Relative Position", group }, [
      ["FOCUS_RELATIVE_POSITION", "Steps", 0, 0, stepsMax - stepsMin, 1, "%.f"],
    ]);
    this.#direction = switchVector({ name: "FOCUS_MOTION", label: "Direction", group }, [
      ["FOCUS_INWARD", "Focus In", true],
      ["FOCUS_OUTWARD", "Focus Out"],
    ]);
    const max = numberVector({ name: "FOCUS_MAX", label: "Max. Position", group, perm: "ro" }, [
      ["FOCUS_MAX_VALUE", "Steps", stepsMax, stepsMax, stepsMax, 0, "%.f"],
    ]);
    const abort = switchVector(
      { name: "FOCUS_ABORT_MOTION", label: "Abort Motion", group, rule: "AtMostOne" },
      [["ABORT", "Abort"]],
    );
    const temperature = numberVector({ name: "FOCUS_TEMPERATURE", label: "Temperature", group, perm: "ro" }, [
      ["TEMPERATURE", "Celsius", world.weather.readings.temperatureCelsius, -50, 70, 0, "%6.2f"],
    ]);
    this.onNumber(abs, (asked) => this.#moveTo(asked.get("FOCUS_ABSOLUTE_POSITION"), asked));
    this.onNumber(this.#rel, (asked) => this.#moveBy(asked));
    this.onSwitch(this.#direction, (asked) => {
      this.takeSwitches(this.#direction, asked);
      this.set(this.#direction, "Ok");
    });
    this.onSwitch(abort, () => {
      world.focuser.stop();
      this.set(abort, "Ok");
    });
    this.show(max);
    this.show(temperature);
    abs.refresh = () => putNumbers(abs, [Math.round(world.focuser.reported)]);
    temperature.refresh = () => putNumbers(temperature, [world.weather.readings.temperatureCelsius]);
    this.#poll = new Ticker(
      world.clock,
      () => (world.focuser.moving ? pollSeconds : undefined),
      () => this.set(abs, "Busy"),
    );
    world.listen(({ part, what }) => {
      if (part !== "focuser" || !this.connected || (what !== "moveEnded" && what !== "moveStopped")) return;
      this.#poll.stop();
      if (this.#relative) this.set(this.#rel, what === "moveEnded" ? "Ok" : "Idle");
      this.#relative = false;
      this.set(abs, what === "moveEnded" ? "Ok" : "Idle");
    });
  }

  protected override whenConnected(): void {
    this.#abs.state = this.#world.focuser.moving ? "Busy" : "Ok";
    this.#poll.kick();
  }

  protected override whenDisconnected(): void {
    this.#poll.stop();
  }

  #moveTo(steps: number | undefined, asked: NumbersAsked): void {
    if (steps === undefined || !this.takeNumbers(this.#abs, asked)) return;
    this.#world.focuser.moveTo(Math.round(steps));
    this.set(this.#abs, "Busy");
    this.#poll.kick();
  }

  #moveBy(asked: NumbersAsked): void {
    if (!this.takeNumbers(this.#rel, asked)) return;
    const sign = selectedSwitch(this.#direction) === "FOCUS_OUTWARD" ? 1 : -1;
    const target = this.#world.focuser.reported + sign * numberOf(this.#rel, "FOCUS_RELATIVE_POSITION");
    const { stepsMin, stepsMax } = this.#world.spec.focuser;
    if (target < stepsMin || target > stepsMax) {
      this.message("ERROR", `Target ${target} is outside ${stepsMin} to ${stepsMax} steps.`);
      this.set(this.#rel, "Alert");
      return;
    }
    this.#relative = true;
    this.#world.focuser.moveTo(target);
    this.set(this.#rel, "Busy");
    this.set(this.#abs, "Busy");
    this.#poll.kick();
  }
}
