import type { MountMechanics } from "../../scene/mechanics/mount.ts";
import { hourAngleArcsecPerSecond, trackDegreesPerSecond } from "../../scene/mechanics/mount-rates.ts";
import { checkedNumber, invalidOperation, invalidValue, notImplemented } from "../ascom-error.ts";
import type { MemberTable } from "../member-table.ts";
import { checkNotBusy, isSlewing } from "./telescope-state.ts";

const axisMinDegreesPerSecond = 0.001;
/** By TelescopeAxis: primary, secondary; there is no third. */
const axes = ["east", "north"] as const;
const siderealDegreesPerSecond = hourAngleArcsecPerSecond.sidereal / 3600;

/** By GuideDirection: north, south, east, west. */
const guideDirections = [
  { axis: "north", sign: 1 },
  { axis: "north", sign: -1 },
  { axis: "east", sign: 1 },
  { axis: "east", sign: -1 },
] as const;

/** Axes that are moved by hand: at the rate asked for, whatever tracking would do, until they are given 0. */
export function addAxes(members: MemberTable, mount: MountMechanics, degreesPerSecondMax: number): void {
  const axisOf = (number: number) => {
    if (number < 0 || number > 2) throw invalidValue(`there is no axis ${number}`);
    return axes[number];
  };
  const kinds = { Axis: "int" } as const;
  members.readsWith("canmoveaxis", kinds, ({ Axis }) => axisOf(Axis) !== undefined);
  members.readsWith("axisrates", kinds, ({ Axis }) =>
    axisOf(Axis) ? [{ Minimum: axisMinDegreesPerSecond, Maximum: degreesPerSecondMax }] : [],
  );
  members.writes("moveaxis", { ...kinds, Rate: "number" }, ({ Axis, Rate }) => {
    const axis = axisOf(Axis);
    if (!axis) throw notImplemented(`moving axis ${Axis}`);
    const speed = Math.abs(Rate);
    if (Rate !== 0)
      checkedNumber("a rate [degrees/s] of", speed, axisMinDegreesPerSecond, degreesPerSecondMax);
    checkNotBusy(mount, "moving an axis");
    if (mount.phase === "slewing") throw invalidOperation("the mount slews");
    mount.jog(axis, Rate === 0 ? 0 : Rate + trackingOn(mount, axis));
  });
}

/** What tracking does to an axis, so that its motion can be the rate asked for and nothing else [degrees/s]. */
function trackingOn(mount: MountMechanics, axis: "east" | "north"): number {
  if (!mount.tracking) return 0;
  const { ha, dec } = trackDegreesPerSecond(mount.rate, mount.customRate);
  return axis === "east" ? ha : -dec;
}

/** Guide pulses. @returns the guide rates in force [degrees/s] */
export function addGuiding(
  members: MemberTable,
  mount: MountMechanics,
): { readonly east: number; readonly north: number } {
  const rates = { east: 0.5 * siderealDegreesPerSecond, north: 0.5 * siderealDegreesPerSecond };
  const checked = (rate: number) => {
    if (rate > 0 && rate <= siderealDegreesPerSecond) return rate;
    throw invalidValue(`a guide rate of ${rate} degrees/s is outside 0 to ${siderealDegreesPerSecond}`);
  };
  members.setting("GuideRateRightAscension", "number", {
    read: () => rates.east,
    write: (rate) => {
      rates.east = checked(rate);
    },
  });
  members.setting("GuideRateDeclination", "number", {
    read: () => rates.north,
    write: (rate) => {
      rates.north = checked(rate);
    },
  });
  members.reads("ispulseguiding", () => mount.pulsing);
  members.writes("pulseguide", { Direction: "int", Duration: "int" }, ({ Direction, Duration }) => {
    const guide = guideDirections[Direction];
    if (!guide) throw invalidValue(`there is no guide direction ${Direction}`);
    if (Duration < 0) throw invalidValue(`a pulse of ${Duration} ms`);
    checkNotBusy(mount, "a guide pulse");
    if (isSlewing(mount)) throw invalidOperation("the mount moves");
    if (Duration > 0) mount.pulse(guide.axis, guide.sign * rates[guide.axis], Duration / 1000, () => {});
  });
  return rates;
}
