import { RefusedError } from "../../kit/errors.ts";
import { neverAborted } from "../../kit/never-aborted.ts";
import { lengthArcsec, type SkyOffset } from "../../roles/mount-sky.ts";
import type { SmallMoves } from "../../roles/nudge.ts";
import type { IndiDevice } from "../session/device.ts";
import type { RoleTools } from "../session/indi-role.ts";

/** The first jog of an axis is this long and measures [s]. */
const measuringSeconds = 0.3;
const jogSecondsMax = 20;
const worthArcsec = 1;
/** Beyond this a slew is quicker [arcsec]. */
const jogArcsecMax = 300;

/** Motion on, a time, motion off, at the mount's slowest slew rate, whose speed is not stated and therefore measured. */
export class TimedJogs implements SmallMoves {
  readonly kind = "motion";
  /** On the sky, with the sign of "north" and "east". */
  #northArcsecPerSecond: number | undefined;
  #eastArcsecPerSecond: number | undefined;
  #lastSeconds = { north: 0, east: 0 };

  constructor(private readonly tools: RoleTools) {}

  suffice(left: SkyOffset): boolean {
    return lengthArcsec(left) <= jogArcsecMax;
  }

  async give(by: SkyOffset, _cosDec: number, signal: AbortSignal): Promise<void> {
    await this.#chooseSlowestRate(signal);
    this.#lastSeconds = {
      north: await this.#jog(
        "TELESCOPE_MOTION_NS",
        ["MOTION_NORTH", "MOTION_SOUTH"],
        secondsFor(by.northArcsec, this.#northArcsecPerSecond),
        signal,
      ),
      east: await this.#jog(
        "TELESCOPE_MOTION_WE",
        ["MOTION_EAST", "MOTION_WEST"],
        secondsFor(by.eastArcsec, this.#eastArcsecPerSecond),
        signal,
      ),
    };
  }

  learn(_asked: SkyOffset, moved: SkyOffset): void {
    const { north, east } = this.#lastSeconds;
    if (north !== 0 && Math.abs(moved.northArcsec) > worthArcsec) {
      this.#northArcsecPerSecond = moved.northArcsec / north;
    }
    if (east !== 0 && Math.abs(moved.eastArcsec) > worthArcsec) {
      this.#eastArcsecPerSecond = moved.eastArcsec / east;
    }
  }

  /** Drivers list their rates slowest first. */
  async #chooseSlowestRate(signal: AbortSignal): Promise<void> {
    const { device } = this.tools;
    const [slowest] = device.property("TELESCOPE_SLEW_RATE")?.elements.keys() ?? [];
    if (slowest === undefined) return;
    const options = { withinSeconds: 10, finalStates: ["Ok", "Idle"] } as const;
    await device.change("TELESCOPE_SLEW_RATE", { [slowest]: true }, options, signal);
  }

  /** @returns the seconds, negative when it went the second way */
  async #jog(
    property: string,
    [ahead, back]: readonly [string, string],
    seconds: number,
    signal: AbortSignal,
  ): Promise<number> {
    if (seconds === 0) return 0;
    const { device, clock } = this.tools;
    try {
      const sent = await device.send(property, { [seconds > 0 ? ahead : back]: true }, signal);
      const answer = { after: sent, withinSeconds: 5 };
      const begun = await device.waitFor(property, (vector) => !vector.awaitingAnswer, answer, signal);
      if (begun.state === "Alert") throw new RefusedError(device.name, "motion refused");
      await clock.sleep(Math.abs(seconds), signal);
    } finally {
      await endJog(device, property);
    }
    return seconds;
  }
}

function secondsFor(arcsec: number, arcsecPerSecond: number | undefined): number {
  if (Math.abs(arcsec) < worthArcsec) return 0;
  if (arcsecPerSecond === undefined) return Math.sign(arcsec) * measuringSeconds;
  const seconds = arcsec / arcsecPerSecond;
  return Math.max(-jogSecondsMax, Math.min(jogSecondsMax, seconds));
}

/** Both switches off, whatever happened; with a budget of its own. */
export async function endJog(device: IndiDevice, property: string): Promise<void> {
  const elements = [...(device.property(property)?.elements.keys() ?? [])];
  await device.change(
    property,
    Object.fromEntries(elements.map((element) => [element, false])),
    { withinSeconds: 10, finalStates: ["Idle", "Ok"], errorMessages: "ignore" },
    neverAborted,
  );
}
