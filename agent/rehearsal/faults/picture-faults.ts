import type { SimReply } from "../../../sim-devices/alpaca/reply.ts";
import type { DriverMessage } from "../../../sim-devices/indi/sim-device.ts";
import type { Fault } from "./fault.ts";
import { changing } from "./wire-change.ts";

/** What goes wrong with pictures between the camera and its client. */

/** The camera delivers the picture of the exposure before, in place of the one asked for. */
export function answersForAnotherExposure(count: number): Fault {
  return changing("the picture before, once more", "camera", () => {
    let left = count;
    let lastMessage: DriverMessage | undefined;
    let lastBody: SimReply | undefined;
    return {
      message: (message, pass) => {
        if (message.tag !== "setBLOBVector") return pass(message);
        const old = lastMessage;
        lastMessage = message;
        pass(old && left-- > 0 ? old : message);
      },
      request: async ({ path }, reply) => {
        const good = await reply();
        if (!path.endsWith("/imagearray")) return good;
        const old = lastBody;
        lastBody = good;
        return old && left-- > 0 ? old : good;
      },
    };
  });
}

/** The next pictures end in the middle, and say that they are whole. */
export function picturesTruncated(count: number): Fault {
  return changing("picture cut short", "camera", () => {
    let left = count;
    return {
      message: (message, pass) => {
        if (message.tag !== "setBLOBVector" || left-- <= 0) return pass(message);
        pass({
          ...message,
          parts: message.parts.map((part) =>
            typeof part === "string" ? part : part.subarray(0, Math.floor(part.length / 8) * 4),
          ),
        });
      },
      request: async ({ path }, reply) => {
        const good = await reply();
        if (!path.endsWith("/imagearray") || left-- <= 0) return good;
        return { ...good, body: good.body.subarray(0, Math.floor(good.body.length / 2)) };
      },
    };
  });
}
