import type { World } from "../../scene/world.ts";
import { invalidValue } from "../ascom-error.ts";
import type { MemberTable } from "../member-table.ts";

/** Thermometer and cooler, or the absence of one. */
export function addCooler(members: MemberTable, { camera, spec }: World): void {
  const { coolerCelsiusMin, ambientCelsius } = spec.camera;
  members.reads("ccdtemperature", () => camera.sensorCelsius);
  members.lacks("heatsinktemperature");
  const hasCooler = coolerCelsiusMin !== undefined;
  members.reads("cansetccdtemperature", () => hasCooler);
  members.reads("cangetcoolerpower", () => hasCooler);
  if (!hasCooler) {
    members.lacks("cooleron", "setccdtemperature", "coolerpower");
    members.lacksWrite("cooleron", { CoolerOn: "boolean" });
    members.lacksWrite("setccdtemperature", { SetCCDTemperature: "number" });
    return;
  }
  members.reads("cooleron", () => camera.coolerOn);
  members.writes("cooleron", { CoolerOn: "boolean" }, ({ CoolerOn }) => camera.cool(CoolerOn));
  members.reads("setccdtemperature", () => camera.coolerCelsius);
  members.writes("setccdtemperature", { SetCCDTemperature: "number" }, ({ SetCCDTemperature: celsius }) => {
    if (!(celsius >= -100 && celsius <= 50)) {
      throw invalidValue(`a sensor temperature of ${celsius} degrees is outside -100 to 50`);
    }
    if (camera.coolerOn) camera.cool(true, celsius);
    else camera.coolerCelsius = celsius; // for when it is switched on
  });
  const reachDegrees = Math.max(1, ambientCelsius - coolerCelsiusMin);
  members.reads("coolerpower", () => {
    if (!camera.coolerOn) return 0;
    const percent = (100 * (ambientCelsius - camera.sensorCelsius)) / reachDegrees;
    return Math.max(0, Math.min(100, percent));
  });
}
