import type { SimAlpacaServer } from "../../../sim-devices/alpaca/alpaca-server.ts";
import {
  htmlReply,
  jsonTextReply,
  type SimReply,
  type SimRequest,
} from "../../../sim-devices/alpaca/reply.ts";
import type { Fault, FaultyRig } from "./fault.ts";

/** Faults between Alpaca devices and their clients. */

export interface WhichRequests {
  /** Type and number, like `camera/0`. Left out: any device. */
  readonly device?: string;
  /** Left out: any member. */
  readonly member?: string;
}

interface Ids {
  readonly ClientTransactionID?: number;
  readonly ServerTransactionID?: number;
}

function isMeant({ path }: SimRequest, { device, member }: WhichRequests): boolean {
  const [, at, name] = /^\/api\/v1\/([a-z]+\/\d+)\/([a-z]+)$/.exec(path) ?? [];
  if (at === undefined) return false;
  return (device === undefined || at === device) && (member === undefined || name === member);
}

function serverOf(rig: FaultyRig): SimAlpacaServer {
  if (!rig.alpacaServer) throw new Error("this fault needs an Alpaca server");
  return rig.alpacaServer;
}

/** A fault of replies, and how many of them it has spoilt. */
export interface ReplyFault extends Fault {
  readonly struckCount: number;
}

/** Spoils the next `count` replies to such requests. @param spoil gives `undefined` where there is nothing to spoil */
function spoiling(
  name: string,
  which: WhichRequests,
  count: number,
  spoil: (reply: SimReply, rig: FaultyRig) => SimReply | undefined | Promise<SimReply | undefined>,
): ReplyFault {
  let struckCount = 0;
  return {
    name,
    get struckCount() {
      return struckCount;
    },
    begin: (rig) =>
      serverOf(rig).addFilter(async (request, reply) => {
        const good = await reply();
        if (struckCount >= count || !isMeant(request, which)) return good;
        const spoilt = await spoil(good, rig);
        if (spoilt) struckCount++;
        return spoilt ?? good;
      }),
  };
}

/** The server goes down with everything under way, and comes back with nothing connected. */
export function serverRestart(downSeconds = 2): Fault {
  return {
    name: "Alpaca server restarts",
    begin: (rig) => {
      serverOf(rig).restart(downSeconds);
      return undefined;
    },
  };
}

/** Another client of the server disconnects the device. */
export function disconnectedByAnother(device: string): Fault {
  return {
    name: `${device} disconnected by another client`,
    begin: (rig) => {
      const [type = "", number] = device.split("/");
      const found = serverOf(rig).device(type, Number(number));
      if (!found) throw new RangeError(`there is no ${device}`);
      found.die();
      return undefined;
    },
  };
}

/** The request is carried out, and the answer is the error page of some web server. */
export function htmlError(which: WhichRequests, count = 1): ReplyFault {
  const page =
    "<!doctype html><html><head><title>Error</title><style>h1 { color: red }</style></head>" +
    "<body><h1>500 Internal Server Error</h1><p>The driver stopped answering.</p></body></html>";
  return spoiling("HTTP 500 with a page", which, count, () => htmlReply(500, page));
}

/** The link breaks in the middle of the reply. */
export function cutReply(which: WhichRequests, count = 1): ReplyFault {
  return spoiling("reply cut", which, count, (reply) => ({
    ...reply,
    cutAfterBytes: Math.floor(reply.body.length / 2),
  }));
}

/** Carried out at once, answered so much later. */
export function stalledReply(which: WhichRequests, seconds: number, count = 1): ReplyFault {
  return spoiling(`reply stalls for ${seconds} s`, which, count, async (reply, { world }) => {
    await world.clock.sleep(seconds);
    return reply;
  });
}

/** A server that leaves both transaction numbers out. */
export function idsMissing(): ReplyFault {
  return spoiling("transaction ids missing", {}, Number.POSITIVE_INFINITY, (reply) => {
    if (reply.contentType === "application/imagebytes") {
      const body = reply.body.slice();
      body.fill(0, 8, 16); // the two ids of its header
      return { ...reply, body };
    }
    return rewritten(reply, (text) => {
      const { ClientTransactionID: _, ServerTransactionID: __, ...rest } = JSON.parse(text) as Ids;
      return JSON.stringify(rest);
    });
  });
}

/** A server that writes numbers as its locale does: no JSON any more. Whole numbers are spared. */
export function decimalCommas(which: WhichRequests, count = Number.POSITIVE_INFINITY): ReplyFault {
  return spoiling("decimal commas", which, count, (reply) =>
    rewritten(reply, (text) => text.replace(/(:-?\d+)\.(\d)/g, "$1,$2")),
  );
}

function rewritten(reply: SimReply, change: (text: string) => string): SimReply | undefined {
  if (!reply.contentType.startsWith("application/json")) return undefined;
  const text = new TextDecoder().decode(reply.body);
  const changed = change(text);
  return changed === text ? undefined : jsonTextReply(changed);
}
