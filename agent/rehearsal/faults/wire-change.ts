import type { RoleName } from "../../../drivers/roles/roles.ts";
import type { SimReply, SimRequest } from "../../../sim-devices/alpaca/reply.ts";
import type { DriverMessage } from "../../../sim-devices/indi/sim-device.ts";
import type { World } from "../../../sim-devices/scene/world.ts";
import { alpacaPath, sceneNames } from "../../../sim-devices/scene-devices.ts";
import type { Fault, FaultyRig } from "./fault.ts";

/** One role, or all of the rig's devices. */
export type Reached = RoleName | "all";

const isMessageOf = (reached: Reached) => {
  const name = reached === "all" ? undefined : sceneNames[reached];
  return ({ device }: DriverMessage) => name === undefined || device === name;
};
const isReport = ({ tag }: DriverMessage) => tag.startsWith("set");

const isRequestTo = (reached: Reached) => {
  const start = reached === "all" ? "/api/v1/" : `/api/v1/${alpacaPath(reached)}/`;
  return ({ path }: SimRequest) => path.startsWith(start);
};

/** What a fault does to INDI messages and to Alpaca requests. */
interface WireChange {
  readonly message?: (message: DriverMessage, pass: (message: DriverMessage) => void) => void;
  readonly request?: (request: SimRequest, reply: () => Promise<SimReply>) => Promise<SimReply>;
}

/** A fault that changes what passes between a role's device, or all, and its clients, over either protocol. */
export function changing(
  name: string,
  reached: Reached,
  change: (rig: FaultyRig) => WireChange,
  more: Omit<Fault, "name" | "begin"> = {},
): Fault {
  return {
    name: `${reached}: ${name}`,
    ...more,
    begin: (rig) => {
      const { message, request } = notingPictures(rig.world, change(rig));
      const [isIts, isTo] = [isMessageOf(reached), isRequestTo(reached)];
      const ends = [
        message &&
          rig.indiServer?.addFilter((one, pass) =>
            isReport(one) && isIts(one) ? message(one, pass) : pass(one),
          ),
        request && rig.alpacaServer?.addFilter((one, reply) => (isTo(one) ? request(one, reply) : reply())),
      ];
      return () => {
        for (const end of ends) end?.();
      };
    },
  };
}

/** Tells the world of pictures that do not come as the camera gave them, and of those that come later. */
function notingPictures(world: World, { message, request }: WireChange): WireChange {
  return {
    ...(message && {
      message: (one, pass) => {
        if (one.tag !== "setBLOBVector") return message(one, pass);
        const sentMs = world.clock.nowMs();
        let isWhole = false;
        message(one, (passed) => {
          isWhole = passed === one;
          if (isWhole && world.clock.nowMs() > sentMs) world.notePicture("came late");
          pass(passed);
        });
        if (!isWhole) world.notePicture("did not come whole");
      },
    }),
    ...(request && {
      request: async (one, reply) => {
        if (!one.path.endsWith("/imagearray")) return request(one, reply);
        let own: SimReply | undefined;
        const given = await request(one, async () => {
          own = await reply();
          world.notePicture("did not come whole");
          return own;
        });
        if (given === own) world.notePicture("came late");
        return given;
      },
    }),
  };
}
