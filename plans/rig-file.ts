import * as z from "zod";
import {
  dayOrTime,
  mapOf,
  numberFrom,
  parsePart,
  schemaInFile,
  shortName,
  textLine,
  wholeFrom,
  zoneName,
} from "./fields.ts";
import { readChecked } from "./file-problems.ts";
import { keysOfOneProtocol, rigDevices } from "./rig-devices.ts";

const host = textLine("a host name or address", 253).describe("Name or address.");
/** The protocols, by the key under which a server's address stands. */
export const serverKinds = {
  indi: mapOf({
    host,
    port: wholeFrom(1, 65535).default(7624).describe("The standard's, unless it was moved."),
  }).describe("An INDI server."),
  alpaca: mapOf({
    host,
    port: wholeFrom(1, 65535).describe("The standard has none of its own: `evenfield find` tells it."),
  }).describe("An Alpaca server."),
};
type ServerKind = keyof typeof serverKinds;
type ServerEntry = {
  [K in ServerKind]: { readonly [Key in K]: z.infer<(typeof serverKinds)[K]> };
}[ServerKind];

const kindNames = Object.keys(serverKinds) as readonly ServerKind[];
const serverForms = kindNames.map((kind) => `{ ${kind}: { host, port } }`).join(" or ");

const serverInFile = schemaInFile(
  z.union(kindNames.map((kind) => z.strictObject({ [kind]: serverKinds[kind] }))),
);

/** Told apart by the key, so that a message fits what was meant. */
const server = z
  .unknown()
  .meta(serverInFile)
  .transform((entry, ctx): ServerEntry => {
    const keys = entry !== null && typeof entry === "object" ? Object.keys(entry) : [];
    const kind = kindNames.find((name) => name === keys[0]);
    if (keys.length !== 1 || kind === undefined) {
      ctx.issues.push({ code: "custom", message: serverForms, input: entry, path: [] });
      return z.NEVER;
    }
    return parsePart(mapOf({ [kind]: serverKinds[kind] }), entry, ctx) as ServerEntry;
  });

const sunFilter = mapOf({
  describe: textLine("which Sun filter is fitted, in the owner's words", 500).describe(
    "Which Sun filter is fitted, in your words.",
  ),
  madeForThisInstrument: z
    .literal(true, {
      error:
        "true, and only when the filter is made for this instrument; without such a filter never point near the Sun",
    })
    .describe("That the filter is made for this instrument. A person writes it, who has looked."),
  lastConfirmed: dayOrTime().describe(
    "When a person last inspected it on the telescope; a day counts from its beginning in UTC.",
  ),
  confirmAgainAfterDays: wholeFrom(1, 400, "days")
    .default(90)
    .describe("How long that holds; past it nothing points near the Sun."),
});

const limits = mapOf({
  brightnessTripFactor: numberFrom(1.5, 10, "times the expected level")
    .default(4)
    .describe("A first frame this many times brighter than expected means that the filter is missing."),
  edgeAduPerSecondMax: numberFrom(1, 1e12, "adu per second")
    .optional()
    .describe(
      "Upper edge of the uncovered Sun per second of exposure at the lowest gain, for a rig without a history.",
    ),
  sunAltitudeDegreesMin: numberFrom(5, 85, "degrees")
    .default(10)
    .describe("Below that altitude of the Sun nothing begins; a plan may ask for more."),
  silenceSecondsMax: numberFrom(5, 600, "seconds")
    .default(60)
    .describe("How long the mount, the cover or the weather station may be silent before the rig retreats."),
  freeDiskMegabytesMin: numberFrom(50, 1_000_000, "megabytes")
    .default(500)
    .describe("Below that free space nothing begins, and a run ends."),
  runsKeptDays: wholeFrom(1, 36_500, "days")
    .optional()
    .describe(
      "Runs that began longer ago are removed when a run has ended well; left out, none is. Masters stay.",
    ),
  runsKeptMegabytesMax: numberFrom(100, 100_000_000, "megabytes")
    .optional()
    .describe(
      "How much all of the rig's runs may take; the oldest are removed until the others are within it. Left out, there is no limit.",
    ),
});

export const rigFile = mapOf({
  rig: shortName("the rig's name").describe("The rig's name, in the ledger and in its runs."),
  about: textLine("what the rig is", 2000).optional().describe("What the rig is, in your words."),
  site: mapOf({
    latitudeDegrees: numberFrom(-90, 90, "degrees, north positive").describe("North positive."),
    longitudeDegrees: numberFrom(-180, 180, "degrees, east positive").describe(
      "East positive; west of Greenwich is negative.",
    ),
    elevationMetres: numberFrom(-430, 9000, "metres").default(0).describe("Above the sea."),
    timeZone: zoneName().optional().describe("By which schedules tell days and times of day."),
  }).describe("Where the telescope stands."),
  optics: mapOf({
    apertureMm: numberFrom(10, 2000, "millimetres").describe("Free diameter of the lens or mirror."),
    focalLengthMm: numberFrom(50, 50_000, "millimetres").describe(
      "With every extender and reducer counted in.",
    ),
    wavelengthNm: numberFrom(300, 1100, "nanometres").describe("Of the light that the camera sees."),
  }).describe("The optics before the camera."),
  sunFilter: sunFilter.describe(
    "What a person states of the Sun filter in front. The program believes it: write it only after you looked.",
  ),
  limits: limits.prefault({}).describe("Each may be left out."),
  servers: z
    .record(z.string(), server, {
      error: `a map from a name of your own to ${serverForms}`,
    })
    .describe("Where the device servers run, by names of your own."),
  devices: rigDevices.describe("The devices by what they are to the rig; only the camera must be there."),
  keeper: mapOf({ host, port: wholeFrom(1, 65535).default(7627).describe("That it listens on.") })
    .optional()
    .describe(
      "Where `evenfield keep --listen` runs, beside the telescope, for when the agent's computer or the network is gone.",
    ),
  train: z
    .record(z.string(), z.union([z.string(), z.number()], { error: "text or a number" }), {
      error: "a map from a fact's name to text or a number",
    })
    .default({})
    .describe(
      "Facts that no device knows and that change the flat when they change: a spacer, a reducer, a tilt.",
    ),
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
