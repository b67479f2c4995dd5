import { RefusedError } from "../../kit/errors.ts";
import { siderealArcsecPerSecond } from "../../kit/sidereal.ts";
import { startStopwatch } from "../../kit/stopwatch.ts";
import type { PulseDirection, PulseGuider } from "../../roles/guide-pulses.ts";
import type { RoleTools } from "../session/indi-role.ts";
import { limitsOf, numberIn } from "../wire/property.ts";
import type { pulseAxes } from "./mount-reading.ts";

const places: Readonly<Record<PulseDirection, { axis: (typeof pulseAxes)[number]; element: string }>> = {
  north: { axis: "TELESCOPE_TIMED_GUIDE_NS", element: "TIMED_GUIDE_N" },
  south: { axis: "TELESCOPE_TIMED_GUIDE_NS", element: "TIMED_GUIDE_S" },
  west: { axis: "TELESCOPE_TIMED_GUIDE_WE", element: "TIMED_GUIDE_W" },
  east: { axis: "TELESCOPE_TIMED_GUIDE_WE", element: "TIMED_GUIDE_E" },
};

export function indiPulseGuider({ device, clock }: RoleTools): PulseGuider {
  return {
    nominalArcsecPerSecond(axis) {
      const element = axis === "dec" ? "GUIDE_RATE_NS" : "GUIDE_RATE_WE";
      const timesSidereal = numberIn(device.property("GUIDE_RATE"), element);
      return timesSidereal && timesSidereal * siderealArcsecPerSecond;
    },
    pulseMsMax(direction) {
      const { axis, element } = places[direction];
      return limitsOf(device.property(axis), element)?.max ?? 1000;
    },
    /** Pulses end Idle and not Ok. */
    async pulse(direction, pulseMs, signal) {
      const { axis, element } = places[direction];
      const both = Object.values(places).filter((place) => place.axis === axis);
      const values = Object.fromEntries(both.map((place) => [place.element, 0]));
      const elapsedSeconds = startStopwatch(clock);
      const sent = await device.send(axis, { ...values, [element]: pulseMs }, signal);
      const options = { after: sent, withinSeconds: pulseMs / 1000 + 10 };
      const ended = await device.waitFor(axis, ({ state }) => state !== "Busy", options, signal);
      if (ended.state === "Alert") {
        const words = ended.message ? `: ${ended.message}` : "";
        throw new RefusedError(device.name, `guide pulse refused${words}`);
      }
      // The end is reported up to 0.15 s early, and by some drivers at once.
      await clock.sleep(Math.max(0, pulseMs / 1000 - elapsedSeconds()) + 0.2, signal);
    },
  };
}
