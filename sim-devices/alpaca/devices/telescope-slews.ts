import type { Direction } from "../../scene/sun/sun-place.ts";
import type { World } from "../../scene/world.ts";
import { invalidOperation, invalidValue, valueNotSet, whileParked } from "../ascom-error.ts";
import type { MemberTable } from "../member-table.ts";
import { equatorialOf } from "./horizon.ts";
import { checkedDirection, checkNotBusy, isSlewing, raDec } from "./telescope-state.ts";

const altAz = { Azimuth: "number", Altitude: "number" } as const;

/** Which kinds of slew a mount offers: answering at once, or at the end. */
export interface SlewKinds {
  readonly async: boolean;
  readonly sync: boolean;
}

/** The target, slews and syncs to it or to a place given, and the abort. */
export function addSlews(members: MemberTable, world: World, offered: SlewKinds): void {
  const { mount } = world;
  const target: { raHours?: number; decDegrees?: number } = {};
  members.reads("targetrightascension", () => known(target.raHours, "the target's right ascension"));
  members.reads("targetdeclination", () => known(target.decDegrees, "the target's declination"));
  members.writes("targetrightascension", { TargetRightAscension: "number" }, (given) => {
    target.raHours = checkedDirection(given.TargetRightAscension, 0).raHours;
  });
  members.writes("targetdeclination", { TargetDeclination: "number" }, (given) => {
    target.decDegrees = checkedDirection(0, given.TargetDeclination).decDegrees;
  });
  /** A parked mount says so first, whether there is a target or not. */
  const targetPlace = (): Direction => {
    checkNotBusy(mount, "a target");
    return {
      raHours: known(target.raHours, "the target's right ascension"),
      decDegrees: known(target.decDegrees, "the target's declination"),
    };
  };
  const slew = (place: Direction, trackAfter: boolean) => {
    const refusal = mount.slewTo(place, trackAfter);
    if (refusal !== undefined) throw invalidOperation(refusal);
  };
  const toPlace = (place: Direction) => {
    checkNotBusy(mount, "a slew");
    if (!mount.tracking && mount.phase === "still") throw invalidOperation("tracking is off");
    Object.assign(target, place);
    slew(place, true);
  };
  const toHorizon = (altitude: number, azimuth: number) => {
    if (!(altitude >= 0 && altitude <= 90)) throw invalidValue(`altitude ${altitude} is outside 0 to 90`);
    if (!(azimuth >= 0 && azimuth < 360)) throw invalidValue(`azimuth ${azimuth} is outside 0 to 360`);
    checkNotBusy(mount, "a slew");
    if (mount.tracking) throw invalidOperation("tracking is on");
    slew(equatorialOf({ altitude, azimuth }, mount.believedSite, mount.siderealHours()), false);
  };
  const offer = <K extends Readonly<Record<string, "number">>>(
    kind: string,
    kinds: K,
    start: (given: { readonly [Name in keyof K]: number }) => void,
  ) => {
    if (offered.async) members.writes(`${kind}async`, kinds, start);
    else members.lacksWrite(`${kind}async`, kinds);
    if (!offered.sync) members.lacksWrite(kind, kinds);
    else {
      members.writes(kind, kinds, (given) => {
        start(given);
        return untilStill(world);
      });
    }
  };
  offer("slewtocoordinates", raDec, (given) =>
    toPlace(checkedDirection(given.RightAscension, given.Declination)),
  );
  offer("slewtotarget", {}, () => toPlace(targetPlace()));
  offer("slewtoaltaz", altAz, ({ Altitude, Azimuth }) => toHorizon(Altitude, Azimuth));
  const sync = (place: Direction) => {
    checkNotBusy(mount, "a sync");
    if (!mount.tracking) throw invalidOperation("tracking is off");
    Object.assign(target, place);
    mount.syncTo(place);
  };
  members.writes("synctocoordinates", raDec, ({ RightAscension, Declination }) =>
    sync(checkedDirection(RightAscension, Declination)),
  );
  members.writes("synctotarget", {}, () => sync(targetPlace()));
  members.lacksWrite("synctoaltaz", altAz);
  members.writes("abortslew", {}, () => {
    if (mount.parked) throw whileParked("an abort");
    mount.stop();
  });
}

function known(value: number | undefined, what: string): number {
  if (value === undefined) throw valueNotSet(what);
  return value;
}

function untilStill(world: World): Promise<void> {
  return new Promise((resolve) => {
    const stop = world.listen(() => {
      if (isSlewing(world.mount)) return;
      stop();
      resolve();
    });
  });
}
