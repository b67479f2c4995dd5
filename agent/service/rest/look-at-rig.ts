import { withDeadline } from "../../../drivers/kit/deadline.ts";
import type { Rig } from "../../../drivers/roles/rig.ts";
import type { RigFile } from "../../../plans/rig-file.ts";
import { type ConnectTools, connectRigFile } from "../../run/checks/connect-rig-file.ts";
import { checkMountBelief } from "../../run/checks/mount-belief.ts";
import { isSunUp, nearSunDegrees, sunSeparationDegrees } from "../../safing/off-sun.ts";

/** What a rig at rest was seen to be, in one respect. */
export interface RestRow {
  readonly what: "cover" | "mount" | "mount's clock" | "dome" | "weather" | "disk" | "clock" | "rig";
  /** `not known`: it could not be looked at, or does not tell. */
  readonly verdict: "as it should be" | "not so" | "not known";
  /** A sentence without its full stop. */
  readonly text: string;
  /** Nothing may be begun while it is so. */
  readonly holds?: true;
}

/** What tells whether a rig is at rest; the others stay as they are. */
const lookedAt = ["cover", "mount", "dome", "weather"] as const;
const lookSecondsMax = 120;

/** Connects what can be open, move or warn, reads it, and gives the links back; its seal lets no command through. Never throws but for the signal. */
export async function lookAtRig(
  rigFile: RigFile,
  tools: ConnectTools,
  signal: AbortSignal,
): Promise<readonly RestRow[]> {
  const entries = lookedAt.flatMap((role) => {
    const entry = rigFile.devices[role];
    return entry && "server" in entry ? [[role, entry] as const] : [];
  });
  if (entries.length === 0) return [];
  const devices = Object.fromEntries(entries) as unknown as RigFile["devices"]; // no camera is connected for a look
  const limits = { device: rigFile.rig, what: "a look at the rig", withinSeconds: lookSecondsMax, signal };
  let looking: Promise<readonly RestRow[]> | undefined;
  const look = async (limited: AbortSignal) => {
    await using connected = await connectRigFile({ ...rigFile, devices }, tools, limited);
    return await readRest(connected.rig, rigFile, tools, limited);
  };
  try {
    return await withDeadline(tools.clock, limits, (limited) => {
      looking = look(limited);
      return looking;
    });
  } catch (error) {
    await looking?.catch(() => {}); // it is over when it has given the links back
    signal.throwIfAborted();
    const why = error instanceof Error ? error.message.split("\n")[0] : String(error);
    return [{ what: "rig", verdict: "not known", text: `it could not be looked at: ${why}` }];
  }
}

async function readRest(
  rig: Rig,
  rigFile: RigFile,
  { clock }: ConnectTools,
  signal: AbortSignal,
): Promise<readonly RestRow[]> {
  const rows = await Promise.all([
    rig.mount && attempt("mount", () => readMount(rig, signal)),
    rig.mount && attempt("mount's clock", () => readMountClock(rig, rigFile, { clock, signal })),
    rig.dome?.abilities.shutter && attempt("dome", () => readDome(rig, signal)),
    rig.weather && attempt("weather", () => readWeather(rig, signal)),
    rig.cover && attempt("cover", () => readCover(rig, rigFile, clock.nowMs(), signal)),
  ]);
  signal.throwIfAborted();
  return rows.filter((row) => row !== undefined && row !== false);
}

async function attempt(what: RestRow["what"], read: () => Promise<RestRow>): Promise<RestRow> {
  try {
    return await read();
  } catch (error) {
    return { what, verdict: "not known", text: error instanceof Error ? error.message : String(error) };
  }
}

/** By its own word; that a frame behind it is dark is proved at the end of each run, which had the light to compare with. */
async function readCover(
  { cover, mount }: Rig,
  { site }: RigFile,
  nowUtcMs: number,
  signal: AbortSignal,
): Promise<RestRow> {
  const state = await cover!.state(signal);
  if (state === "closed") return { what: "cover", verdict: "as it should be", text: "it reads closed" };
  const pointing = mount && (await mount.state(signal).catch(() => undefined))?.pointing;
  const off = pointing && sunSeparationDegrees(pointing, site, nowUtcMs);
  const where =
    off === undefined ? "where it points is not known" : `it points ${off.toFixed(0)}° from the Sun`;
  const text = `it reads ${state}, and ${where}`;
  if (!isSunUp(site, nowUtcMs) || (off !== undefined && off > nearSunDegrees))
    return { what: "cover", verdict: "not so", text };
  return { what: "cover", verdict: "not so", text, holds: true };
}

async function readMount({ mount }: Rig, signal: AbortSignal): Promise<RestRow> {
  const { motion, tracking, parked } = await mount!.state(signal);
  if (motion !== "still")
    return { what: "mount", verdict: "not so", text: `it is ${motion}, and no run moves it` };
  if (parked === true) return { what: "mount", verdict: "as it should be", text: "it is parked" };
  const how = tracking ? "it tracks" : "it stands still";
  if (parked === undefined)
    return { what: "mount", verdict: "not known", text: `${how}, and does not tell whether it is parked` };
  return { what: "mount", verdict: "not so", text: `${how}, and is not parked` };
}

async function readMountClock(
  { mount }: Rig,
  { site }: RigFile,
  tools: Parameters<typeof checkMountBelief>[2],
): Promise<RestRow> {
  const { verdict, text } = (await checkMountBelief(mount!, site, tools)).find(
    ({ what }) => what === "clock",
  )!;
  const verdicts = {
    agrees: "as it should be",
    differs: "as it should be",
    wrong: "not so",
    "not checked": "not known",
  } as const;
  return { what: "mount's clock", verdict: verdicts[verdict], text };
}

async function readDome({ dome }: Rig, signal: AbortSignal): Promise<RestRow> {
  const { shutter } = await dome!.state(signal);
  if (shutter === undefined)
    return { what: "dome", verdict: "not known", text: "it does not tell how its shutter is" };
  return {
    what: "dome",
    verdict: shutter === "closed" ? "as it should be" : "not so",
    text: `its shutter is ${shutter}`,
  };
}

async function readWeather({ weather }: Rig, signal: AbortSignal): Promise<RestRow> {
  const { safety, reasons } = await weather!.state(signal);
  const verdicts = {
    safe: "as it should be",
    unsafe: "not so",
    warning: "as it should be",
    unknown: "not known",
  } as const;
  const why = reasons.length > 0 ? ` (${reasons.join(", ")})` : "";
  return { what: "weather", verdict: verdicts[safety], text: `it is ${safety}${why}` };
}
