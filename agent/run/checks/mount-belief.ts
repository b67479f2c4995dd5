import { greenwichSiderealHours, hoursBetween, wrapHours } from "../../../drivers/kit/sidereal.ts";
import type { Mount, Site } from "../../../drivers/roles/mount.ts";
import { separationDegrees } from "../../sky/separation.ts";
import type { GuardTools } from "../guard/guard.ts";
import type { CheckResult } from "./check-result.ts";

/**
 * What the mount believes against what we do. `differs`: a person rounds so; `wrong`: beyond what a person can explain;
 * `not checked`: the mount does not tell.
 */
export interface BeliefCheck {
  readonly what: "site" | "clock" | "sidereal time";
  readonly verdict: "agrees" | "differs" | "wrong" | "not checked";
  /** Both values, in a sentence without its full stop. */
  readonly text: string;
}

/** Half a disc's width of sky: nothing that centring notices [degrees; s of the sky's turning]. */
const differs = { degrees: 0.25, seconds: 60 };
/**
 * The nearest town stands for a site, a wristwatch for a clock: a few tenths of a degree, a minute or two. A longitude of
 * the wrong sign, the other hemisphere, or local time taken for UTC (whole hours; a quarter of one at the least) is more.
 */
const wrong = { degrees: 1, seconds: 300 };
const sameDegrees = 0.5;
const quarterHourSeconds = 900;

/** Asks the mount for its site, its clock and its sidereal time. */
export async function checkMountBelief(
  mount: Mount,
  site: Site,
  { clock, signal }: GuardTools,
): Promise<readonly BeliefCheck[]> {
  const believed = await mount.siteAndTime(signal);
  const nowUtcMs = clock.nowMs();
  return [
    checkSite(believed.site, site),
    checkClock(believed.utcMs, nowUtcMs),
    checkSidereal(
      believed.siderealHours,
      wrapHours(greenwichSiderealHours(nowUtcMs) + site.longitudeDegrees / 15),
    ),
  ];
}

/** What the mount believes, as a plan takes it: with nobody there to see where it points, what is wrong ends the matter. */
export function judgeBelief(
  mountName: string,
  beliefs: readonly BeliefCheck[],
  unattended: boolean,
): readonly CheckResult[] {
  const verdicts = {
    agrees: "passed",
    differs: "passed",
    wrong: unattended ? "failed" : "doubtful",
    "not checked": "not made",
  } as const;
  return beliefs.map(({ what, verdict, text }) => ({
    check: `mount's ${what}`,
    verdict: verdicts[verdict],
    kind: "safety",
    text: `${mountName}: ${text}`,
    ...(verdict === "wrong" && {
      whatToDo:
        "Set right what is wrong of the two, the mount or the rig file and this computer's clock; `evenfield probe --rig RIG` shows both. Nothing has moved.",
    }),
  }));
}

function checkSite(believed: Site | undefined, site: Site): BeliefCheck {
  if (!believed)
    return { what: "site", verdict: "not checked", text: "it does not tell its site, or was never told one" };
  const asPlace = ({ longitudeDegrees, latitudeDegrees }: Site) => ({
    raHours: longitudeDegrees / 15,
    decDegrees: latitudeDegrees,
  });
  const off = separationDegrees(asPlace(believed), asPlace(site));
  const verdict = off > wrong.degrees ? "wrong" : off > differs.degrees ? "differs" : "agrees";
  const values = `its site is ${placeText(believed)} and that of the rig file ${placeText(site)}`;
  if (verdict === "agrees") return { what: "site", verdict, text: values };
  const guess = verdict === "wrong" ? siteGuess(believed, site) : "";
  return { what: "site", verdict, text: `${values}, ${off.toFixed(1)}° apart${guess}` };
}

function siteGuess(believed: Site, site: Site): string {
  const near = (a: number, b: number) => Math.abs(a - b) < sameDegrees;
  const isMirrored = near(believed.longitudeDegrees, -site.longitudeDegrees);
  if (near(believed.latitudeDegrees, -site.latitudeDegrees))
    return isMirrored ? " (both signs seem to be wrong)" : " (the hemisphere seems to be wrong)";
  return isMirrored ? " (east and west seem to be mixed up)" : "";
}

function checkClock(believedUtcMs: number | undefined, nowUtcMs: number): BeliefCheck {
  if (believedUtcMs === undefined)
    return { what: "clock", verdict: "not checked", text: "it does not tell a time that goes on" };
  const offSeconds = (believedUtcMs - nowUtcMs) / 1000;
  const off = Math.abs(offSeconds);
  const verdict = off > wrong.seconds ? "wrong" : off > differs.seconds ? "differs" : "agrees";
  const values = `its clock reads ${utcText(believedUtcMs)} and this computer's ${utcText(nowUtcMs)}`;
  if (verdict === "agrees") return { what: "clock", verdict, text: values };
  const fromQuarter = Math.abs(off - quarterHourSeconds * Math.round(off / quarterHourSeconds));
  const isZone = verdict === "wrong" && off < 86_400 && fromQuarter < 2 * differs.seconds;
  const guess = isZone ? " (local time seems to be taken for UTC)" : "";
  return { what: "clock", verdict, text: `${values}, ${spanText(offSeconds)}${guess}` };
}

/** What comes of site and clock together: where the mount takes the sky to stand. */
function checkSidereal(believedHours: number | undefined, hours: number): BeliefCheck {
  if (believedHours === undefined)
    return { what: "sidereal time", verdict: "not checked", text: "it does not tell its sidereal time" };
  const offSeconds = 3600 * hoursBetween(hours, believedHours);
  const off = Math.abs(offSeconds);
  const verdict = off > wrong.seconds ? "wrong" : off > differs.seconds ? "differs" : "agrees";
  const values = `its sidereal time is ${believedHours.toFixed(3)} h and ours ${hours.toFixed(3)} h`;
  return {
    what: "sidereal time",
    verdict,
    text: verdict === "agrees" ? values : `${values}, ${spanText(offSeconds)}`,
  };
}

function placeText({ latitudeDegrees, longitudeDegrees }: Site): string {
  return `${latitudeDegrees.toFixed(2)}°, ${longitudeDegrees.toFixed(2)}°`;
}

function utcText(utcMs: number): string {
  return `${new Date(utcMs).toISOString().slice(0, 19).replace("T", " ")} UTC`;
}

function spanText(offSeconds: number): string {
  const off = Math.abs(offSeconds);
  const length =
    off < 600
      ? `${off.toFixed(0)} s`
      : off < 172_800
        ? `${(off / 3600).toFixed(2)} h`
        : `${(off / 86_400).toFixed(1)} days`;
  return `${length} ${offSeconds > 0 ? "ahead" : "behind"}`;
}
