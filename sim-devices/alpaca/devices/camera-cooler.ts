import type { World } from "../../scene/world.ts";
import { checkedNumber } from "../ascom-error.ts";
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
    members.lacks("coolerpower");
    members.lacksSetting("CoolerOn", "boolean");
    members.lacksSetting("SetCCDTemperature", "number");
    return;
  }
  members.setting("CoolerOn", "boolean", { read: () => camera.coolerOn, write: (on) => camera.cool(on) });
  members.setting("SetCCDTemperature", "number", {
    read: () => camera.coolerCelsius,
    write: (celsius) => {
      checkedNumber("a sensor temperature of", celsius, -100, 50);
      if (camera.coolerOn) camera.cool(true, celsius);
      else camera.coolerCelsius = celsius; // for when it is switched on
    },
  });
  const reachDegrees = Math.max(1, ambientCelsius - coolerCelsiusMin);
  members.reads("coolerpower", () => {
    if (!camera.coolerOn) return 0;
    const percent = (100 * (ambientCelsius - camera.sensorCelsius)) / reachDegrees;
    return Math.max(0, Math.min(100, percent));
  });
}
