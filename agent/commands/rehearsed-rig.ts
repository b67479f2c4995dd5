import { type RoleName, roleNames } from "../../drivers/roles/roles.ts";
import type { RigFile } from "../../plans/rig-file.ts";
import { alpacaNames, type ShownAlpacaDevice, type ShownDevice } from "../../sim-devices/scene-devices.ts";

/** Somebody's rig, made to be driven against simulated devices. */
export interface RehearsedRig {
  /** The rig file, less what only the real devices know. */
  readonly rigFile: RigFile;
  readonly shown: { readonly indi: readonly ShownDevice[]; readonly alpaca: readonly ShownAlpacaDevice[] };
  /** What of the rig file is not rehearsed, and why. */
  readonly notes: readonly string[];
}

type Driven = { readonly server: string; readonly device: string } & Readonly<Record<string, unknown>>;

/** What a driver or a camera of a certain make has, and a simulated one has not. */
const keysOfRealDevices = [
  "gainProperty",
  "offsetProperty",
  "captureFormat",
  "imageProperty",
  "fullScaleAdu",
  "readoutSeconds",
  "closedValue",
] as const;

const numbered = /^([a-z]+)\/(\d+)$/i;

/** The devices that a rig file names, as simulated ones of the same names, numbers and protocols. */
export function rehearseRigFile(rigFile: RigFile): RehearsedRig {
  const notes: string[] = [];
  const indi: ShownDevice[] = [];
  const alpaca: ShownAlpacaDevice[] = [];
  const devices: Record<string, unknown> = { ...rigFile.devices };
  for (const role of roleNames) {
    const entry = rigFile.devices[role];
    if (!entry || !("server" in entry)) continue;
    const kept = withoutKeysOfRealDevices(role, entry as Driven, notes);
    const isAlpaca = "alpaca" in rigFile.servers[kept.server]!;
    devices[role] = isAlpaca ? showAlpaca(role, kept, alpaca, notes) : showIndi(role, kept, indi, notes);
  }
  return { rigFile: { ...rigFile, devices: devices as RigFile["devices"] }, shown: { indi, alpaca }, notes };
}

function withoutKeysOfRealDevices(role: RoleName, entry: Driven, notes: string[]): Driven {
  const left = keysOfRealDevices.filter((key) => entry[key] !== undefined);
  if (left.length === 0) return entry;
  notes.push(`${left.map((key) => `devices.${role}.${key}`).join(", ")}: only the real device knows it`);
  const gone: readonly string[] = left;
  return Object.fromEntries(Object.entries(entry).filter(([key]) => !gone.includes(key))) as Driven;
}

/** One device in two roles, or of the same name on two servers, is two here. */
function showIndi(role: RoleName, entry: Driven, shown: ShownDevice[], notes: string[]): Driven {
  const isTaken = shown.some(({ name }) => name === entry.device);
  const name = isTaken ? `${entry.device} (${role})` : entry.device;
  if (isTaken)
    notes.push(`devices.${role}: the rehearsal has two devices called ${entry.device}; this one is ${name}`);
  shown.push({ part: role, name });
  return { ...entry, device: name };
}

function showAlpaca(role: RoleName, entry: Driven, shown: ShownAlpacaDevice[], notes: string[]): Driven {
  const [, type, digits] = numbered.exec(entry.device) ?? [];
  const isStation = type?.toLowerCase() === "observingconditions";
  const part: ShownAlpacaDevice["part"] =
    entry.switch !== undefined ? "switches" : role === "weather" && isStation ? "station" : role;
  const isTaken = shown.some(({ part: other, number, name }) =>
    digits === undefined ? name === entry.device : typeIsShared(other, part) && number === Number(digits),
  );
  if (typeof entry.conditions === "string") showStation(entry.conditions, shown);
  // A switch that is named by its number is the one of that number, whatever it is called.
  const own = typeof entry.switch === "string" ? { switchName: entry.switch } : {};
  if (!isTaken) {
    const name = digits === undefined ? entry.device : alpacaNames[part];
    shown.push({ part, name, ...(digits === undefined ? {} : { number: Number(digits) }), ...own });
    return entry;
  }
  const name = `${alpacaNames[part]} (${role})`;
  notes.push(`devices.${role}: the rehearsal has two devices called ${entry.device}; this one is ${name}`);
  shown.push({ part, name, ...own });
  return { ...entry, device: name };
}

function showStation(called: string, shown: ShownAlpacaDevice[]): void {
  const digits = numbered.exec(called)?.[2];
  shown.push(
    digits === undefined
      ? { part: "station", name: called }
      : { part: "station", name: alpacaNames.station, number: Number(digits) },
  );
}

/** A cover and a diffuser are of one type, and so count their numbers together. */
function typeIsShared(a: ShownAlpacaDevice["part"], b: ShownAlpacaDevice["part"]): boolean {
  const leaves: readonly string[] = ["cover", "diffuser"];
  return a === b || (leaves.includes(a) && leaves.includes(b));
}
