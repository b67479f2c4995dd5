import type { World } from "../../scene/world.ts";
import { type DeviceOptions, type Identity, SimAlpacaDevice } from "../sim-alpaca-device.ts";

export class FocuserDevice extends SimAlpacaDevice {
  protected override readonly stateNames = ["IsMoving", "Position", "Temperature"];

  constructor(identity: Identity, world: World, options: DeviceOptions) {
    super(identity, world, options, "Simulated absolute focuser");
    const { focuser, spec } = world;
    const { stepsMin, stepsMax, micronPerStep } = spec.focuser;
    this.members.constants({
      absolute: true,
      maxstep: stepsMax,
      maxincrement: stepsMax,
      stepsize: micronPerStep,
      tempcompavailable: false,
      tempcomp: false,
    });
    this.members.reads("position", () => Math.round(focuser.reported));
    this.members.reads("temperature", () => world.weather.readings.temperatureCelsius);
    this.members.reads("ismoving", () => focuser.moving);
    this.members.lacksWrite("tempcomp", { TempComp: "boolean" });
    // Beyond its ends it goes to the end, and that is no error.
    this.members.writes("move", { Position: "int" }, ({ Position }) =>
      focuser.moveTo(Math.max(stepsMin, Math.min(stepsMax, Position))),
    );
    this.members.writes("halt", {}, () => focuser.stop());
  }
}
