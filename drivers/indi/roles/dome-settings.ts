import { turnDegrees } from "../../kit/angles.ts";
import type { Dome } from "../../roles/dome.ts";
import type { KeptSetting } from "../../roles/kept-settings.ts";

/** What putting back needs of a dome besides its role. */
export interface DomeActions {
  untilStill(signal: AbortSignal): Promise<void>;
  bringParkTo(parked: boolean, signal: AbortSignal): Promise<void>;
  isNear(azimuthDegrees: number, targetDegrees: number): boolean;
}

/** Direction, then shutter, then park: parking takes both along, and a parked dome does not move. */
export function domeSettings(dome: Dome, actions: DomeActions): readonly KeptSetting[] {
  const settledState = async (signal: AbortSignal) => {
    await actions.untilStill(signal);
    return dome.state(signal);
  };
  const azimuth: KeptSetting = {
    key: "azimuth",
    unit: "degrees",
    // A parked dome's direction belongs to its park position and comes back with parking.
    read: async (signal) => {
      const state = await settledState(signal);
      return state.parked === true ? undefined : state.azimuthDegrees;
    },
    async restore(value, signal) {
      const now = (await settledState(signal)).azimuthDegrees ?? Number.NaN;
      if (Math.abs(turnDegrees(now, Number(value))) < 1e-3) return;
      await dome.ensureUnparked(signal);
      await dome.turnTo(Number(value), signal);
    },
    same: (before, now) => actions.isNear(Number(before), Number(now)),
  };
  const shutter: KeptSetting = {
    key: "shutter",
    read: async (signal) => (await settledState(signal)).shutter,
    async restore(value, signal) {
      if (value === (await settledState(signal)).shutter) return;
      if (value !== "open") return dome.ensureShutterClosed(signal); // found unknown: left closed
      await dome.ensureUnparked(signal);
      await dome.ensureShutterOpen(signal);
    },
    same: (before, now) => before === now || (before === "unknown" && now === "closed"),
  };
  const parked: KeptSetting = {
    key: "parked",
    read: async (signal) => (await settledState(signal)).parked,
    restore: (value, signal) => actions.bringParkTo(value === true, signal),
  };
  const { abilities } = dome;
  return [
    ...(abilities.azimuth ? [azimuth] : []),
    ...(abilities.shutter ? [shutter] : []),
    ...(abilities.park ? [parked] : []),
  ];
}
