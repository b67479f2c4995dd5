import type { IndiServer } from "../../../sim-devices/indi/indi-server.ts";
import type { DriverMessage } from "../../../sim-devices/indi/sim-device.ts";
import type { Fault, FaultyRig } from "./fault.ts";

/** Faults between the devices and their clients. */

export interface Which {
  readonly device: string;
  /** Left out: any of its properties. */
  readonly property?: string;
}

function isReply(message: DriverMessage, which: Which): boolean {
  const about = which.property === undefined || message.name === which.property;
  return message.tag.startsWith("set") && message.device === which.device && about;
}

function serverOf(rig: FaultyRig): IndiServer {
  if (!rig.indiServer) throw new Error("this fault needs a server");
  return rig.indiServer;
}

/** The next `count` replies vanish. */
export function lostReply(which: Which, count = 1): Fault {
  return {
    name: "lost reply",
    begin: (rig) => {
      let left = count;
      return serverOf(rig).addFilter((message, pass) => {
        if (left > 0 && isReply(message, which)) left--;
        else pass(message);
      });
    },
  };
}

/** Replies come so much later; everything else is on time. */
export function lateReply(which: Which, seconds: number): Fault {
  return {
    name: "late reply",
    begin: (rig) =>
      serverOf(rig).addFilter((message, pass) => {
        if (isReply(message, which)) rig.world.clock.setTimer(seconds, () => pass(message));
        else pass(message);
      }),
  };
}

/** Every client's link breaks; a new one is taken. */
export function linkCut(): Fault {
  return {
    name: "link cut",
    begin: (rig) => {
      void serverOf(rig).cutLinks();
      return undefined;
    },
  };
}

/** The driver dies and, unless told otherwise, is started again by its server. */
export function driverDeath(device: string, options: { readonly restart?: boolean } = {}): Fault {
  return {
    name: `driver of ${device} dies`,
    begin: (rig) => {
      serverOf(rig).killDriver(device, options);
      return undefined;
    },
  };
}
