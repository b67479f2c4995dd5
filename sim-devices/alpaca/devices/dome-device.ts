import type { World } from "../../scene/world.ts";
import { invalidValue } from "../ascom-error.ts";
import { type DeviceOptions, type Identity, SimAlpacaDevice } from "../sim-alpaca-device.ts";

const shutterState = { open: 0, closed: 1, opening: 2, closing: 3, error: 4 } as const;

/** A dome that turns and has a shutter. The standard has no unparking: the next turn ends it. */
export class DomeDevice extends SimAlpacaDevice {
  protected override readonly stateNames = [
    "Altitude",
    "AtHome",
    "AtPark",
    "Azimuth",
    "ShutterStatus",
    "Slewing",
  ];
  #parking = false;

  constructor(identity: Identity, world: World, options: DeviceOptions) {
    super(identity, world, options, "Simulated dome");
    const { dome } = world;
    this.members.constants({
      cansetshutter: true,
      cansetazimuth: true,
      canpark: true,
      canfindhome: false,
      cansetaltitude: false,
      cansetpark: false,
      canslave: false,
      cansyncazimuth: false,
      athome: false,
      slaved: false,
    });
    this.members.reads("azimuth", () => dome.azimuthDegrees);
    this.members.reads("shutterstatus", () => this.#shutterStatus());
    this.members.reads("slewing", () => dome.turning || (this.isNew && dome.shutter.moving));
    this.members.reads("atpark", () => dome.parked);
    this.members.lacks("altitude");
    this.members.writes("slewtoazimuth", { Azimuth: "number" }, ({ Azimuth }) => {
      if (!(Azimuth >= 0 && Azimuth < 360)) throw invalidValue(`azimuth ${Azimuth} is outside 0 to 360`);
      this.#parking = false;
      dome.parked = false;
      dome.turnTo(Azimuth);
    });
    this.members.writes("openshutter", {}, () => dome.shutter.moveTo(1));
    this.members.writes("closeshutter", {}, () => dome.shutter.moveTo(0));
    this.members.writes("park", {}, () => {
      if (dome.parked) return;
      this.#parking = true;
      dome.turnTo(dome.spec.parkAzimuthDegrees);
    });
    this.members.writes("abortslew", {}, () => {
      this.#parking = false;
      dome.stop();
    });
    this.members.lacksWrite("slewtoaltitude", { Altitude: "number" });
    this.members.lacksWrite("findhome");
    this.members.lacksWrite("setpark");
    this.members.lacksWrite("synctoazimuth", { Azimuth: "number" });
    this.members.lacksWrite("slaved", { Slaved: "boolean" });
    world.listen(({ part, what }) => {
      if (part !== "dome" || !this.#parking || what !== "moveEnded") return;
      this.#parking = false;
      dome.parked = true;
    });
  }

  #shutterStatus(): number {
    const { shutter } = this.world.dome;
    if (shutter.moving) return shutter.target === 1 ? shutterState.opening : shutterState.closing;
    if (shutter.reported === 1) return shutterState.open;
    return shutter.reported === 0 ? shutterState.closed : shutterState.error;
  }
}
