import type { World } from "../../scene/world.ts";
import { type DeviceOptions, type Identity, SimAlpacaDevice } from "../sim-alpaca-device.ts";

export class FocuserDevice extends SimAlpacaDevice {
  protected override readonly stateNames = ["IsMoving", "Position", "Temperature"];

  constructor(identity: Identity, world: World, options: DeviceOptions) {
    super(identity, world, options, "Simulated absolute focuser");
    const { focuser, spec } = world;
    const { stepsMin, stepsMax, micronPerStep } = spec.focuser;
    this.reads("absolute", () => true);
    this.reads("maxstep", () => stepsMax);
    this.reads("maxincrement", () => stepsMax);
    this.reads("position", () => Math.round(focuser.reported));
    this.reads("stepsize", () => micronPerStep);
    this.reads("temperature", () => world.weather.readings.temperatureCelsius);
    this.reads("ismoving", () => focuser.moving);
    this.reads("tempcompavailable", () => false);
    this.reads("tempcomp", () => false);
    this.lacksWrite("tempcomp", { TempComp: "boolean" });
    // Beyond its ends it goes to the end, and that is no error.
    this.writes("move", { Position: "int" }, ({ Position }) =>
      focuser.moveTo(Math.max(stepsMin, Math.min(stepsMax, Position))),
    );
    this.writes("halt", {}, () => focuser.stop());
  }
}
