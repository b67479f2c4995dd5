import { type Direction, wrapDegrees } from "../sun/sun-place.ts";
import type { AxisAngles } from "./mount-limits.ts";
import type { AxisRates } from "./mount-rates.ts";

/**
 * Both axes start and arrive together, the one with the longer way at full speed. The target's hour angle grows
 * under way, so the meeting point is found by repetition.
 * @param hourAngleRate of the target [degrees/s]; 0 for a place on the mount, like its park position
 */
export function planSlew(
  from: AxisAngles,
  target: Direction,
  options: {
    readonly siderealHours: number;
    readonly hourAngleRate: number;
    readonly degreesPerSecond: number;
    /** Half a turn of both axes, for one that changes sides. */
    readonly secondsLeast: number;
  },
): { readonly seconds: number; readonly rates: AxisRates } {
  const decBy = target.decDegrees - from.decDegrees;
  const hourAngleNow = wrapDegrees((options.siderealHours - target.raHours) * 15);
  let seconds = 0;
  let haBy = 0;
  for (let i = 0; i < 4; i++) {
    haBy = hourAngleNow + seconds * options.hourAngleRate - from.hourAngleDegrees;
    seconds = Math.max(
      Math.max(Math.abs(haBy), Math.abs(decBy)) / options.degreesPerSecond,
      options.secondsLeast,
    );
  }
  return { seconds, rates: seconds > 0 ? { ha: haBy / seconds, dec: decBy / seconds } : { ha: 0, dec: 0 } };
}
