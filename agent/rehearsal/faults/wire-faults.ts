import { type RoleName, roleNames } from "../../../drivers/roles/roles.ts";
import { jsonTextReply, type SimReply, type SimRequest } from "../../../sim-devices/alpaca/reply.ts";
import type { DriverMessage } from "../../../sim-devices/indi/sim-device.ts";
import { alpacaPath, sceneNames } from "../../../sim-devices/scene-devices.ts";
import type { Blocked, Fault } from "./fault.ts";
import { changing, type Reached } from "./wire-change.ts";

/**
 * Faults between a device and its clients, whichever protocol they speak: both servers of a rig get them. By roles;
 * `server-faults.ts` and `alpaca-faults.ts` have what only one of the protocols knows.
 */

/** What of the rig nobody reaches while that role's device answers nobody. */
export function blockedBy(reached: Reached): readonly Blocked[] {
  return (["cover", "mount"] as const).filter((part) => reached === "all" || reached === part);
}

const never = new Promise<never>(() => {});

/** The next `count` replies never come; what was asked is done. */
export function repliesLost(reached: Reached, count: number): Fault {
  return changing("replies lost", reached, () => {
    let left = count;
    return {
      message: (message, pass) => {
        if (left-- <= 0) pass(message);
      },
      request: async (_, reply) => {
        const good = await reply();
        return left-- <= 0 ? good : never;
      },
    };
  });
}

/** An agent waits so long for each answer when it connects [s]. */
const connectSecondsMax = 10;

/** Every reply comes so much later; commands pass at once. */
export function repliesLate(reached: Reached, seconds: number): Fault {
  const isTooSlow = reached === "all" && seconds > connectSecondsMax;
  return changing(
    `replies ${seconds.toFixed(1)} s late`,
    reached,
    ({ world: { clock } }) => ({
      message: (message, pass) => void clock.setTimer(seconds, () => pass(message)),
      request: async (_, reply) => {
        const good = await reply();
        await clock.sleep(seconds);
        return good;
      },
    }),
    isTooSlow ? { tooSlowToConnect: true } : {},
  );
}

/** INDI messages come twice, and Alpaca requests are carried out twice. */
export function repliesDoubled(reached: Reached): Fault {
  const change = {
    message: (message: DriverMessage, pass: (message: DriverMessage) => void) => {
      pass(message);
      pass(message);
    },
    request: async (_: SimRequest, reply: () => Promise<SimReply>) => {
      await reply();
      return reply();
    },
  };
  const doubles = reached === "all" ? roleNames : [reached];
  return changing("replies doubled", reached, () => change, { doubles });
}

/** Every second reply is overtaken by the one after it. */
export function repliesReordered(reached: Reached): Fault {
  return changing("replies reordered", reached, ({ world: { clock } }) => {
    let held: (() => void) | undefined;
    let count = 0;
    return {
      message: (message, pass) => {
        const waiting = held;
        held = undefined;
        if (waiting) {
          pass(message);
          waiting();
          return;
        }
        const release = () => pass(message);
        held = release;
        clock.setTimer(3, () => {
          if (held !== release) return;
          held = undefined;
          release();
        });
      },
      request: async (_, reply) => {
        const good = await reply();
        if (count++ % 2 === 0) await clock.sleep(0.7);
        return good;
      },
    };
  });
}

/** The device says nothing at all, and hears nothing. */
export function deviceSilent(reached: Reached): Fault {
  return commandsIgnored(reached, {
    name: "silent",
    blocks: blockedBy(reached),
    ...(reached === "weather" || reached === "mount" || reached === "cover"
      ? { danger: { why: `${reached} silent`, seenBy: reached, isSilence: true } as const }
      : {}),
    andReplies: true,
  });
}

/** Commands are taken and change nothing: over INDI without a word, over Alpaca with an answer that all is well. */
export function settingsIgnored(reached: Reached): Fault {
  return commandsIgnored(reached, { name: "ignores commands", blocks: blockedBy(reached) });
}

function commandsIgnored(
  reached: Reached,
  {
    name,
    andReplies = false,
    ...more
  }: Omit<Fault, "begin"> & {
    readonly andReplies?: boolean;
  },
): Fault {
  const replies = changing(
    name,
    reached,
    () => ({
      ...(andReplies && { message: () => {} }),
      request: async ({ method, path, form }, reply) => {
        if (andReplies) return never;
        // Connecting is no setting.
        if (method !== "PUT" || /\/(connect|disconnect|connected)$/.test(path)) return reply();
        const ClientTransactionID = Number(new URLSearchParams(form).get("ClientTransactionID"));
        return jsonTextReply(
          JSON.stringify({ ClientTransactionID, ServerTransactionID: 0, ErrorNumber: 0, ErrorMessage: "" }),
        );
      },
    }),
    more,
  );
  return {
    ...replies,
    begin: (rig) => {
      const endReplies = replies.begin(rig);
      const name = reached === "all" ? undefined : sceneNames[reached];
      const endCommands = rig.indiServer?.addCommandFilter((command, pass) => {
        const { device, name: property } = command.attributes;
        const isIts = name === undefined || device === name;
        if (!isIts || (property === "CONNECTION" && !andReplies)) pass(command);
      });
      return () => {
        endReplies?.();
        endCommands?.();
      };
    },
  };
}

const busyAnswers: Readonly<Record<string, unknown>> = {
  slewing: true,
  ismoving: true,
  covermoving: true,
  coverstate: 2,
  shutterstatus: 2,
  imageready: false,
  camerastate: 2,
  position: -1,
};

/** The device obeys, and says of all that it does that it is still busy. */
export function neverLeavesBusy(reached: Exclude<Reached, "all">): Fault {
  return changing(
    "never leaves Busy",
    reached,
    () => ({
      message: (message, pass) =>
        pass({
          ...message,
          parts: message.parts.map((part) =>
            typeof part === "string" ? part.replace(/state="(Ok|Idle|Alert)"/, 'state="Busy"') : part,
          ),
        }),
      request: async ({ method, path }, reply) => {
        const good = await reply();
        const member = path.split("/").at(-1) ?? "";
        const isBusy = member in busyAnswers && (member !== "position" || reached === "wheel");
        if (method !== "GET" || !isBusy) return good;
        return rewriteJson(good, (value) => ({ ...value, Value: busyAnswers[member] }));
      },
    }),
    { staysBusy: [reached] },
  );
}

/** The driver takes all its properties back and defines them again, over INDI; another client disconnects it, over Alpaca. */
export function propertiesRedefined(reached: RoleName): Fault {
  return {
    name: `${reached}: properties redefined`,
    begin: ({ indiServer, alpacaServer }) => {
      indiServer?.redefine(sceneNames[reached], 0.4);
      const [type = "", number] = alpacaPath(reached).split("/");
      const device = alpacaServer?.device(type, Number(number));
      if (device?.connected) device.die();
      return undefined;
    },
  };
}

/** The link is cut and taken again only after that time; the devices go on. */
export function linksDown(seconds: number): Fault {
  const isForGood = !Number.isFinite(seconds);
  return {
    name: isForGood ? "link cut for good" : `link cut for ${seconds.toFixed(0)} s`,
    blocks: ["cover", "mount"],
    danger: { why: "link lost", isSilence: true },
    begin: ({ indiServer, alpacaServer }) => {
      const finite = isForGood ? 1e7 : seconds;
      indiServer?.takeDown(finite);
      alpacaServer?.takeDown(finite);
      return () => {
        indiServer?.comeBack();
        alpacaServer?.comeBack();
      };
    },
  };
}

/** The servers end with all their drivers and are back after that time, with nothing connected. */
export function serversRestart(seconds: number): Fault {
  return {
    name: `servers restart within ${seconds.toFixed(0)} s`,
    blocks: ["cover", "mount"],
    danger: { why: "servers gone", isSilence: true },
    begin: ({ indiServer, alpacaServer }) => {
      indiServer?.takeDown(seconds, { withDrivers: true });
      alpacaServer?.restart(seconds);
      return () => {
        indiServer?.comeBack();
        alpacaServer?.comeBack();
      };
    },
  };
}

/** The device's driver ends; it is started again at once, or stays away for good. */
export function driverEnds(reached: RoleName, options: { readonly restart: boolean }): Fault {
  const silence = deviceSilent(reached);
  if (!options.restart) {
    return {
      ...silence,
      name: `${reached}: driver gone`,
      begin: (rig) => {
        rig.indiServer?.killDriver(sceneNames[reached], { restart: false });
        const end = silence.begin(rig);
        return () => {
          end?.();
          rig.indiServer?.startDriver(sceneNames[reached]);
        };
      },
    };
  }
  return {
    name: `${reached}: driver restarts`,
    begin: ({ indiServer, alpacaServer }) => {
      indiServer?.killDriver(sceneNames[reached]);
      const [type = "", number] = alpacaPath(reached).split("/");
      alpacaServer?.device(type, Number(number))?.die();
      return undefined;
    },
  };
}

function rewriteJson(reply: SimReply, change: (value: Record<string, unknown>) => unknown): SimReply {
  if (!reply.contentType.startsWith("application/json")) return reply;
  const value = JSON.parse(new TextDecoder().decode(reply.body)) as Record<string, unknown>;
  return value.ErrorNumber === 0 ? jsonTextReply(JSON.stringify(change(value))) : reply;
}
