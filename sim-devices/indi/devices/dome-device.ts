import type { World } from "../../scene/world.ts";
import { SimDevice, type SwitchesAsked } from "../sim-device.ts";
import { Ticker } from "../ticker.ts";
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

export class DomeDevice extends SimDevice {
  protected override readonly volatile = new Set(["ABS_DOME_POSITION", "DOME_PARK"]);
  readonly #world: World;
  readonly #poll: Ticker;
  #parking = false;
  readonly #shutter = switchVector(
    { name: "DOME_SHUTTER", label: "Shutter", group: "Main Control", rule: "AtMostOne" },
    [
      ["SHUTTER_OPEN", "Open"],
      ["SHUTTER_CLOSE", "Close"],
    ],
  );
  readonly #azimuth = numberVector(
    { name: "ABS_DOME_POSITION", label: "Absolute Position", group: "Main Control" },
    [["DOME_ABSOLUTE_POSITION", "Degrees", 0, 0, 360, 1, "%6.2f"]],
  );
  readonly #motion = switchVector(
    { name: "DOME_MOTION", label: "Motion", group: "Main Control", rule: "AtMostOne" },
    [
      ["DOME_CW", "CW"],
      ["DOME_CCW", "CCW"],
    ],
  );
  readonly #park = switchVector({ name: "DOME_PARK", label: "Parking", group: "Main Control" }, [
    ["PARK", "Park(ed)"],
    ["UNPARK", "UnPark(ed)", true],
  ]);

  constructor(name: string, world: World) {
    super(name, world.clock, { driver: "dome-driver", interfaceBits: domeInterface });
    this.#world = world;
    const { dome } = world;
    const abort = switchVector(
      { name: "DOME_ABORT_MOTION", label: "Abort", group: "Main Control", rule: "AtMostOne" },
      [["ABORT", "Abort"]],
    );
    const autosync = switchVector({ name: "DOME_AUTOSYNC", label: "Slaving", group: "Slaving" }, [
      ["DOME_AUTOSYNC_ENABLE", "Enable"],
      ["DOME_AUTOSYNC_DISABLE", "Disable", true],
    ]);
    this.onSwitch(this.#shutter, (asked) => this.#moveShutter(asked));
    this.onNumber(this.#azimuth, (asked) => {
      const wanted = asked.get("DOME_ABSOLUTE_POSITION");
      if (wanted === undefined || this.#refuseParked(this.#azimuth)) return;
      if (!this.takeNumbers(this.#azimuth, asked)) return;
      dome.turnTo(wanted);
      this.#tellTurning();
      this.#poll.kick();
    });
    this.onSwitch(this.#motion, () =>
      this.set(this.#motion, "Alert", "Only absolute positions are supported."),
    );
    this.onSwitch(abort, () => {
      this.#parking = false;
      dome.stop();
      this.set(abort, "Ok");
      if (this.#park.state === "Busy") {
        selectSwitch(this.#park, undefined);
        this.set(this.#park, "Alert");
      }
    });
    this.onSwitch(this.#park, (asked) => this.#setPark(asked));
    this.onSwitch(autosync, (asked) => {
      this.takeSwitches(autosync, asked);
      this.set(autosync, "Ok");
    });
    this.#azimuth.refresh = () => putNumbers(this.#azimuth, [dome.azimuthDegrees]);
    this.#poll = new Ticker(
      world.clock,
      () => (dome.turning ? pollSeconds : undefined),
      () => this.#tellTurning(),
    );
    world.listen(({ part, what }) => {
      if (!this.connected || (what !== "moveEnded" && what !== "moveStopped")) return;
      if (part === "shutter") this.#tellShutter();
      else if (part === "dome") this.#tellTurning();
      else return;
      this.#finishParking();
    });
  }

  protected override whenConnected(): void {
    const { dome } = this.#world;
    this.#readShutter();
    selectSwitch(this.#park, dome.parked ? "PARK" : "UNPARK");
    this.#park.state = "Ok";
    this.#azimuth.state = dome.turning ? "Busy" : "Ok";
    this.#poll.kick();
  }

  protected override whenDisconnected(): void {
    this.#poll.stop();
  }

  #readShutter(): void {
    const { shutter } = this.#world.dome;
    const at = shutter.moving ? shutter.target : shutter.reported;
    selectSwitch(this.#shutter, at === 1 ? "SHUTTER_OPEN" : at === 0 ? "SHUTTER_CLOSE" : undefined);
    this.#shutter.state = shutter.moving ? "Busy" : at === 0 || at === 1 ? "Ok" : "Alert";
  }

  #tellShutter(): void {
    this.#readShutter();
    this.set(this.#shutter);
  }

  #tellTurning(): void {
    const { turning } = this.#world.dome;
    selectSwitch(this.#motion, undefined);
    this.set(this.#azimuth, turning ? "Busy" : "Ok");
    this.set(this.#motion, turning ? "Busy" : "Ok");
  }

  #refuseParked(vector: NumberVector | SwitchVector): boolean {
    if (!this.#world.dome.parked) return false;
    this.message("ERROR", "Please unpark before issuing any motion commands.");
    this.set(vector, "Alert");
    return true;
  }

  #moveShutter(asked: SwitchesAsked): void {
    if (this.#refuseParked(this.#shutter) || !this.takeSwitches(this.#shutter, asked)) return;
    this.#world.dome.shutter.moveTo(asked.get("SHUTTER_OPEN") ? 1 : 0);
    this.#tellShutter();
  }

  /** PARK closes the shutter too, and UNPARK opens it. */
  #setPark(asked: SwitchesAsked): void {
    if (!this.takeSwitches(this.#park, asked)) return;
    const { dome } = this.#world;
    this.#parking = asked.get("PARK") === true;
    this.set(this.#park, "Busy");
    if (this.#parking) dome.turnTo(dome.spec.parkAzimuthDegrees);
    else dome.parked = false;
    dome.shutter.moveTo(this.#parking ? 0 : 1);
    this.#tellShutter();
    if (this.#parking) this.#tellTurning();
    this.#poll.kick();
  }

  #finishParking(): void {
    const { dome } = this.#world;
    if (this.#park.state !== "Busy" || dome.turning || dome.shutter.moving) return;
    if (this.#parking) dome.parked = true;
    this.set(this.#park, "Ok");
  }
}
