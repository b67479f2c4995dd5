import type { Direction } from "../../scene/sun/sun-place.ts";
import type { World } from "../../scene/world.ts";
import { checkedNumber, invalidOperation, invalidValue, valueNotSet, whileParked } from "../ascom-error.ts";
import type { MemberTable } from "../member-table.ts";
import { equatorialOf } from "./horizon.ts";
import { checkedDirection, checkNotBusy, isSlewing, raDec } from "./telescope-state.ts";

const altAz = { Azimuth: "number", Altitude: "number" } as const;

/**
 * The target, slews and syncs to it or to a place given, and the abort.
 * @param offered which slews there are: answering at once, or at the end
 */
export function addSlews(
  members: MemberTable,
  world: World,
  offered: { readonly async: boolean; readonly sync: boolean },
): void {
  const { mount } = world;
  const target: { raHours?: number; decDegrees?: number } = {};
  const targetRa = () => known(target.raHours, "the target's right ascension");
  const targetDec = () => known(target.decDegrees, "the target's declination");
  members.setting("TargetRightAscension", "number", {
    read: targetRa,
    write: (hours) => {
      target.raHours = checkedDirection(hours, 0).raHours;
    },
  });
  members.setting("TargetDeclination", "number", {
    read: targetDec,
    write: (degrees) => {
      target.decDegrees = checkedDirection(0, degrees).decDegrees;
    },
  });
  /** A parked mount says so first, whether there is a target or not. */
  const targetPlace = (): Direction => {
    checkNotBusy(mount, "a target");
    return { raHours: targetRa(), decDegrees: targetDec() };
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
    checkedNumber("altitude", altitude, 0, 90);
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
        return world.until(() => !isSlewing(mount));
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
