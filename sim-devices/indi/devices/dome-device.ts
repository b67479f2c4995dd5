import type { World } from "../../scene/world.ts";
import { type NewValues, SimDevice } from "../sim-device.ts";
import type { Ticker } from "../ticker.ts";
import {
  type NumberVector,
  numberVector,
  putNumbers,
  type SwitchVector,
  selectSwitch,
  switchVector,
} from "../vector.ts";

const domeInterface = 32;
const pollSeconds = 1;
const group = "Main Control";

export class DomeDevice extends SimDevice {
  protected override readonly volatile = new Set(["ABS_DOME_POSITION", "DOME_PARK"]);
  readonly #poll: Ticker;
  #parking = false;
  readonly #shutter = switchVector({ name: "DOME_SHUTTER", label: "Shutter", group, rule: "AtMostOne" }, [
    ["SHUTTER_OPEN", "Open"],
    ["SHUTTER_CLOSE", "Close"],
  ]);
  readonly #azimuth = numberVector({ name: "ABS_DOME_POSITION", label: "Absolute Position", group }, [
    ["DOME_ABSOLUTE_POSITION", "Degrees", 0, 0, 360, 1, "%6.2f"],
  ]);
  readonly #motion = switchVector({ name: "DOME_MOTION", label: "Motion", group, rule: "AtMostOne" }, [
    ["DOME_CW", "CW"],
    ["DOME_CCW", "CCW"],
  ]);
  readonly #park = switchVector({ name: "DOME_PARK", label: "Parking", group }, [
    ["PARK", "Park(ed)"],
    ["UNPARK", "UnPark(ed)", true],
  ]);

  constructor(name: string, world: World) {
    super(name, world, { driver: "dome-driver", interfaceBits: domeInterface });
    const { dome } = world;
    const abort = switchVector({ name: "DOME_ABORT_MOTION", label: "Abort", group, rule: "AtMostOne" }, [
      ["ABORT", "Abort"],
    ]);
    const autosync = switchVector({ name: "DOME_AUTOSYNC", label: "Slaving", group: "Slaving" }, [
      ["DOME_AUTOSYNC_ENABLE", "Enable"],
      ["DOME_AUTOSYNC_DISABLE", "Disable", true],
    ]);
    this.on(this.#shutter, (values) => this.#moveShutter(values));
    this.on(this.#azimuth, (values) => {
      const wanted = values.get("DOME_ABSOLUTE_POSITION");
      if (wanted === undefined || this.#refuseParked(this.#azimuth)) return;
      if (!this.takeNumbers(this.#azimuth, values)) return;
      dome.turnTo(wanted);
      this.#sendTurning();
      this.#poll.kick();
    });
    this.on(this.#motion, () => this.set(this.#motion, "Alert", "Only absolute positions are supported."));
    this.on(abort, () => {
      this.#parking = false;
      dome.stop();
      this.set(abort, "Ok");
      if (this.#park.state === "Busy") {
        selectSwitch(this.#park, undefined);
        this.set(this.#park, "Alert");
      }
    });
    this.on(this.#park, (values) => this.#setPark(values));
    this.keep(autosync);
    this.#azimuth.refresh = () => putNumbers(this.#azimuth, [dome.azimuthDegrees]);
    this.whenConnected(() => {
      this.#readShutter();
      selectSwitch(this.#park, dome.parked ? "PARK" : "UNPARK");
      this.#park.state = "Ok";
      this.#azimuth.state = dome.turning ? "Busy" : "Ok";
    });
    this.#poll = this.poll(
      () => (dome.turning ? pollSeconds : undefined),
      () => this.#sendTurning(),
    );
    this.whenAtRest("shutter", () => {
      this.#sendShutter();
      this.#finishParking();
    });
    this.whenAtRest("dome", () => {
      this.#sendTurning();
      this.#finishParking();
    });
  }

  #readShutter(): void {
    const { shutter } = this.world.dome;
    const at = shutter.moving ? shutter.target : shutter.reported;
    selectSwitch(this.#shutter, at === 1 ? "SHUTTER_OPEN" : at === 0 ? "SHUTTER_CLOSE" : undefined);
    this.#shutter.state = shutter.moving ? "Busy" : at === 0 || at === 1 ? "Ok" : "Alert";
  }

  #sendShutter(): void {
    this.#readShutter();
    this.set(this.#shutter);
  }

  #sendTurning(): void {
    const state = this.world.dome.turning ? "Busy" : "Ok";
    selectSwitch(this.#motion, undefined);
    this.set(this.#azimuth, state);
    this.set(this.#motion, state);
  }

  #refuseParked(vector: NumberVector | SwitchVector): boolean {
    if (!this.world.dome.parked) return false;
    this.message("ERROR", "Please unpark before issuing any motion commands.");
    this.set(vector, "Alert");
    return true;
  }

  #moveShutter(values: NewValues<boolean>): void {
    if (this.#refuseParked(this.#shutter) || !this.takeSettings(this.#shutter, values)) return;
    this.world.dome.shutter.moveTo(values.get("SHUTTER_OPEN") ? 1 : 0);
    this.#sendShutter();
  }

  /** PARK closes the shutter too, and UNPARK opens it. */
  #setPark(values: NewValues<boolean>): void {
    if (!this.takeSettings(this.#park, values)) return;
    const { dome } = this.world;
    this.#parking = values.get("PARK") === true;
    this.set(this.#park, "Busy");
    if (this.#parking) dome.turnTo(dome.spec.parkAzimuthDegrees);
    else dome.parked = false;
    dome.shutter.moveTo(this.#parking ? 0 : 1);
    this.#sendShutter();
    if (this.#parking) this.#sendTurning();
    this.#poll.kick();
  }

  #finishParking(): void {
    const { dome } = this.world;
    if (this.#park.state !== "Busy" || dome.turning || dome.shutter.moving) return;
    if (this.#parking) dome.parked = true;
    this.set(this.#park, "Ok");
  }
}
