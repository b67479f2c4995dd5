import * as z from "zod";
import {
  dayOrTime,
  mapOf,
  numberFrom,
  parsePart,
  shortName,
  textLine,
  wholeFrom,
  zoneName,
} from "./fields.ts";
import { readChecked } from "./file-problems.ts";
import { keysOfOneProtocol, rigDevices } from "./rig-devices.ts";

const host = textLine("a host name or address", 253);
/** The protocols, by the key under which a server's address stands. */
export const serverKinds = {
  indi: mapOf({ host, port: wholeFrom(1, 65535).default(7624) }),
  /** The standard has no port of its own: `evenfield find` tells it. */
  alpaca: mapOf({ host, port: wholeFrom(1, 65535) }),
};
type ServerKind = keyof typeof serverKinds;
type ServerEntry = {
  [K in ServerKind]: { readonly [Key in K]: z.infer<(typeof serverKinds)[K]> };
}[ServerKind];

const kindNames = Object.keys(serverKinds) as readonly ServerKind[];
const serverForms = kindNames.map((kind) => `{ ${kind}: { host, port } }`).join(" or ");

/** Told apart by the key, so that a message fits what was meant. */
const server = z.unknown().transform((entry, ctx): ServerEntry => {
  const keys = entry !== null && typeof entry === "object" ? Object.keys(entry) : [];
  const kind = kindNames.find((name) => name === keys[0]);
  if (keys.length !== 1 || kind === undefined) {
    ctx.issues.push({ code: "custom", message: serverForms, input: entry, path: [] });
    return z.NEVER;
  }
  return parsePart(mapOf({ [kind]: serverKinds[kind] }), entry, ctx) as ServerEntry;
});

const sunFilter = mapOf({
  describe: textLine("which Sun filter is fitted, in the owner's words", 500),
  madeForThisInstrument: z.literal(true, {
    error:
      "true, and only when the filter is made for this instrument; without such a filter never point near the Sun",
  }),
  /** When a person last inspected it on the telescope; a day counts from its beginning in UTC. */
  lastConfirmed: dayOrTime(),
  confirmAgainAfterDays: wholeFrom(1, 400, "days").default(90),
});

const limits = mapOf({
  /** A first frame this many times brighter than expected means that the filter is missing. */
  brightnessTripFactor: numberFrom(1.5, 10, "times the expected level").default(4),
  /** Upper edge of the uncovered Sun per second of exposure at the lowest gain, for a rig without a history. */
  edgeAduPerSecondMax: numberFrom(1, 1e12, "adu per second").optional(),
  sunAltitudeDegreesMin: numberFrom(5, 85, "degrees").default(10),
  /** How long the mount, the cover or the weather station may be silent before the rig retreats. */
  silenceSecondsMax: numberFrom(5, 600, "seconds").default(60),
  freeDiskMegabytesMin: numberFrom(50, 1_000_000, "megabytes").default(500),
  /** Runs that began longer ago are removed when a run has ended well; left out, none is. Masters stay. */
  runsKeptDays: wholeFrom(1, 36_500, "days").optional(),
  /** Of all of the rig's runs; the oldest are removed until the others are within it. Left out, there is no limit. */
  runsKeptMegabytesMax: numberFrom(100, 100_000_000, "megabytes").optional(),
});

const rigFile = mapOf({
  rig: shortName("the rig's name"),
  about: textLine("what the rig is", 2000).optional(),
  site: mapOf({
    latitudeDegrees: numberFrom(-90, 90, "degrees, north positive"),
    longitudeDegrees: numberFrom(-180, 180, "degrees, east positive"),
    elevationMetres: numberFrom(-430, 9000, "metres").default(0),
    /** By which schedules tell days and times of day. */
    timeZone: zoneName().optional(),
  }),
  optics: mapOf({
    apertureMm: numberFrom(10, 2000, "millimetres"),
    focalLengthMm: numberFrom(50, 50_000, "millimetres"),
    wavelengthNm: numberFrom(300, 1100, "nanometres"),
  }),
  sunFilter,
  limits: limits.prefault({}),
  servers: z.record(z.string(), server, {
    error: `a map from a name of your own to ${serverForms}`,
  }),
  devices: rigDevices,
  /** Where `evenfield keep --listen` runs, beside the telescope, for when the agent's computer or the network is gone. */
  keeper: mapOf({ host, port: wholeFrom(1, 65535).default(7627) }).optional(),
  /** Facts that no device knows and that change the flat when they change: a spacer, a reducer, a tilt. */
  train: z
    .record(z.string(), z.union([z.string(), z.number()], { error: "text or a number" }), {
      error: "a map from a fact's name to text or a number",
    })
    .default({}),
}).check((ctx) => {
  const servers = Object.keys(ctx.value.servers ?? {});
  const taken = new Map<string, string>();
  for (const [role, device] of Object.entries(ctx.value.devices ?? {})) {
    if (device === undefined || !("server" in device)) continue;
    if (!servers.includes(device.server)) {
      ctx.issues.push({
        code: "custom",
        path: ["devices", role, "server"],
        message: `a name under \`servers\`: ${servers.join(", ") || "(none is given)"}`,
        input: device.server,
      });
    }
    const kind = Object.keys(ctx.value.servers?.[device.server] ?? {})[0];
    for (const [key, wanted] of Object.entries(keysOfOneProtocol)) {
      if (!(key in device) || kind === undefined || kind === wanted) continue;
      ctx.issues.push({
        code: "custom",
        path: ["devices", role, key],
        message: `a key for devices on ${wanted} servers; leave it out for one on an ${kind} server`,
        input: device[key as keyof typeof device],
      });
    }
    // Two switches of one device are two things.
    const part = "switch" in device ? `/${device.switch}` : "";
    const key = `${device.server}/${device.device}${part}`;
    const other = taken.get(key);
    if (other !== undefined && [role, other].every((r) => r === "cover" || r === "diffuser")) {
      ctx.issues.push({
        code: "custom",
        path: ["devices", role, "device"],
        message: `a device of its own; it is the ${other} already`,
        input: device.device,
      });
    }
    taken.set(key, role);
  }
});

/** A rig as read from its file, every default filled in. */
export type RigFile = z.infer<typeof rigFile>;
export type SunFilterStatement = RigFile["sunFilter"];

/** @throws FileProblemsError naming file, line, the value found and what is allowed, all problems at once */
export function readRigFile(text: string, file: string): RigFile {
  return readChecked(text, file, rigFile);
}
