import {
  agentKilled,
  agentStopped,
  clockStepped,
  keeperKilled,
  stopAsked,
} from "../../agent/rehearsal/faults/agent-faults.ts";
import { framesOfAnotherSize, framesOfOneLevel } from "../../agent/rehearsal/faults/camera-faults.ts";
import {
  coverOpensItself,
  coverSaysClosed,
  coverStopsHalfWay,
} from "../../agent/rehearsal/faults/cover-faults.ts";
import {
  diskFull,
  diskTakesNothing,
  folderGone,
  ledgerLocked,
  ledgerOverwritten,
} from "../../agent/rehearsal/faults/disk-faults.ts";
import type { Fault } from "../../agent/rehearsal/faults/fault.ts";
import { foreignDeeds, otherClient } from "../../agent/rehearsal/faults/foreign-faults.ts";
import { mountRunsAway, mountStaysBusy, mountStops } from "../../agent/rehearsal/faults/mount-faults.ts";
import { answersForAnotherExposure, picturesTruncated } from "../../agent/rehearsal/faults/picture-faults.ts";
import type { Reached } from "../../agent/rehearsal/faults/wire-change.ts";
import {
  deviceSilent,
  driverEnds,
  linksDown,
  neverLeavesBusy,
  propertiesRedefined,
  repliesDoubled,
  repliesLate,
  repliesLost,
  repliesReordered,
  serversRestart,
  settingsIgnored,
} from "../../agent/rehearsal/faults/wire-faults.ts";
import {
  cameraStuckBusy,
  cloud,
  filterMissing,
  lyingReadback,
  mountNotTracking,
  rain,
  refusesTracking,
  reportJumps,
  slewEndsElsewhere,
  stuck,
  wind,
} from "../../agent/rehearsal/faults/world-faults.ts";
import type { Random } from "../../drivers/kit/random.ts";
import type { RoleName } from "../../drivers/roles/roles.ts";

interface Kind {
  /** @param driven roles whose devices a server has */
  readonly draw: (random: Random, driven: readonly RoleName[]) => Fault;
  /** `once`: over as soon as it has happened, or never to be undone. `passes`: always ends. `either`. */
  readonly lasts: "once" | "passes" | "either";
  /** How often it is drawn beside the others; 1 if left out. */
  readonly weight?: number;
  /** Roles without which it makes no sense. */
  readonly needs?: readonly RoleName[];
  /** It happens to the ledger, which has to be on a disk. */
  readonly needsDisk?: true;
}

const usual = ["camera", "mount", "cover"] as const;

/** The devices that matter most, most often. */
function anyRole(random: Random, driven: readonly RoleName[]): RoleName {
  const often = usual.filter((role) => driven.includes(role));
  return random.pick(random.uniform() < 0.7 ? often : driven);
}

function anyOrAll(random: Random, driven: readonly RoleName[]): Reached {
  return random.uniform() < 0.35 ? "all" : anyRole(random, driven);
}

function oneOf<T extends RoleName>(random: Random, driven: readonly RoleName[], roles: readonly T[]): T {
  return random.pick(roles.filter((role) => driven.includes(role)));
}

const signed = (random: Random, low: number, high: number) =>
  random.between(low, high) * (random.uniform() < 0.5 ? -1 : 1);

/** Everything that can befall a run. What each leaves open is drawn. */
export const faultKinds = {
  "replies lost": { draw: (r, d) => repliesLost(anyOrAll(r, d), r.whole(1, 5)), lasts: "once" },
  "replies late": { draw: (r, d) => repliesLate(anyOrAll(r, d), r.pick([1, 3, 6, 6, 12])), lasts: "either" },
  "replies doubled": { draw: (r, d) => repliesDoubled(anyOrAll(r, d)), lasts: "either" },
  "replies reordered": { draw: (r, d) => repliesReordered(anyOrAll(r, d)), lasts: "either" },
  "link cut": { draw: () => linksDown(1e6), lasts: "passes", weight: 2 },
  "link cut for good": { draw: () => linksDown(Number.POSITIVE_INFINITY), lasts: "once", weight: 0.3 },
  "servers restart": { draw: (r) => serversRestart(r.between(0.1, 60)), lasts: "once" },
  "driver restarts": { draw: (r, d) => driverEnds(anyRole(r, d), { restart: true }), lasts: "once" },
  "driver gone": { draw: (r, d) => driverEnds(anyRole(r, d), { restart: false }), lasts: "either" },
  "device silent": { draw: (r, d) => deviceSilent(anyRole(r, d)), lasts: "either" },
  "never leaves Busy": { draw: (r, d) => neverLeavesBusy(anyRole(r, d)), lasts: "either" },
  "commands ignored": { draw: (r, d) => settingsIgnored(anyRole(r, d)), lasts: "either" },
  "properties redefined": { draw: (r, d) => propertiesRedefined(anyRole(r, d)), lasts: "once" },
  "lying readback": {
    draw: (r, d) => lyingReadback(oneOf(r, d, ["camera", "focuser", "camera"])),
    lasts: "either",
    weight: 0.5,
  },
  "another exposure's picture": { draw: (r) => answersForAnotherExposure(r.whole(1, 3)), lasts: "once" },
  "pictures truncated": { draw: (r) => picturesTruncated(r.whole(1, 3)), lasts: "once" },
  "pictures black": { draw: () => framesOfOneLevel(0), lasts: "either", weight: 0.5 },
  "pictures saturated": { draw: () => framesOfOneLevel(65535), lasts: "either", weight: 0.5 },
  "pictures of another size": { draw: () => framesOfAnotherSize(0.5), lasts: "either", weight: 0.5 },
  "camera stuck busy": { draw: cameraStuckBusy, lasts: "either" },
  "cover jams": { draw: (r) => stuck("cover", r.uniform()), lasts: "either", weight: 2, needs: ["cover"] },
  "cover stops half way": {
    draw: (r) => coverStopsHalfWay(r.between(0.05, 0.95)),
    lasts: "either",
    needs: ["cover"],
  },
  "cover lies": { draw: () => lyingReadback("cover"), lasts: "either", needs: ["cover"] },
  "cover says closed": { draw: coverSaysClosed, lasts: "either", needs: ["cover"] },
  "cover opens itself": { draw: coverOpensItself, lasts: "once", needs: ["cover"] },
  "diffuser jams": { draw: (r) => stuck("diffuser", r.uniform()), lasts: "either", needs: ["diffuser"] },
  "diffuser lies": { draw: () => lyingReadback("diffuser"), lasts: "either", needs: ["diffuser"] },
  "motors stall": { draw: mountNotTracking, lasts: "either" },
  "mount stops": { draw: mountStops, lasts: "either" },
  "mount runs away": { draw: (r) => mountRunsAway(signed(r, 0.05, 2)), lasts: "passes" },
  "mount jumps": { draw: (r) => reportJumps(signed(r, 0.1, 3)), lasts: "either" },
  "mount stays busy": { draw: mountStaysBusy, lasts: "either" },
  "mount refuses to track": { draw: refusesTracking, lasts: "either" },
  "slew ends elsewhere": { draw: (r) => slewEndsElsewhere(signed(r, 0.1, 8)), lasts: "once" },
  "filter lost": { draw: filterMissing, lasts: "once", weight: 3 },
  cloud: { draw: (r) => cloud(r.between(0, 0.6)), lasts: "either" },
  rain: { draw: (r) => rain(r.between(0.5, 10)), lasts: "either", weight: 3, needs: ["weather"] },
  wind: { draw: (r) => wind(r.between(12, 30)), lasts: "either", needs: ["weather"] },
  "station silent": { draw: () => deviceSilent("weather"), lasts: "either", needs: ["weather"] },
  "disk full": { draw: diskFull, lasts: "either" },
  "disk takes nothing": { draw: diskTakesNothing, lasts: "either" },
  "run folder gone": { draw: folderGone, lasts: "either", weight: 0.5 },
  "ledger locked": { draw: ledgerLocked, lasts: "either", weight: 0.1, needsDisk: true },
  "ledger overwritten": { draw: ledgerOverwritten, lasts: "once", weight: 0.5, needsDisk: true },
  "agent killed": { draw: agentKilled, lasts: "once", weight: 3 },
  "agent stopped": { draw: agentStopped, lasts: "passes" },
  "keeper killed": { draw: keeperKilled, lasts: "once" },
  "clock stepped": { draw: (r) => clockStepped(signed(r, 1 / 60, 9)), lasts: "once" },
  "operator's stop": {
    draw: (r) => stopAsked(r.pick(["SIGINT", "SIGTERM", "SIGHUP"])),
    lasts: "once",
    weight: 2,
  },
  "another client": { draw: (r) => otherClient(r.pick(foreignDeeds)), lasts: "once", weight: 3 },
} as const satisfies Readonly<Record<string, Kind>>;

export type FaultKind = keyof typeof faultKinds;
export const faultKindNames = Object.keys(faultKinds) as readonly FaultKind[];

export const kindOf = (kind: FaultKind): Kind => faultKinds[kind];
