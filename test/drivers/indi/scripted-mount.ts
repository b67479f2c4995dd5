import { connectionText } from "./role-bench.ts";
import { recording, type ScriptedServer } from "./scripted-server.ts";

export const mountName = "Telescope Simulator";

export interface MountQuirks {
  /** The state never leaves Busy after a slew, and after an abort. */
  staysBusy?: boolean;
  /** Slews longer than a degree end this far off in right ascension [arcsec]. */
  longSlewMissArcsec?: number;
  /** North pulses and jogs go south, as recorded of the simulator. */
  northGoesSouth?: boolean;
  /** How far a pulse really moves, of what its rate says. */
  pulseGain?: number;
  parked?: boolean;
  without?: readonly string[];
}

const siderealDegreesPerSecond = 15.041067 / 3600;

/**
 * The recorded mount with its behaviour: slews at 6 degrees/s with Busy every 0.25 s, tracking that sends nothing,
 * Idle for what is refused while parked, silence for coordinates out of range. The truth is in `raHours`, `decDegrees`.
 */
export class ScriptedMount {
  raHours = 8.7118927;
  decDegrees = 0;
  #target: { raHours: number; decDegrees: number; parking: boolean } | undefined;
  #lookedMs: number;
  readonly #jogs = new Map<string, number>();
  abortCount = 0;

  constructor(
    readonly server: ScriptedServer,
    readonly quirks: MountQuirks = {},
  ) {
    server.load(connectionText(mountName));
    server.load(recording("other-devices-connect-1.9.9.xml"), {
      only: [mountName],
      without: quirks.without ?? [],
    });
    this.#set("TELESCOPE_PARK", "Ok", onlyOn(["PARK", "UNPARK"], quirks.parked === true ? "PARK" : "UNPARK"));
    this.#lookedMs = server.clock.nowMs();
    server.beforeAnswer = (_, name) => {
      if (name === "EQUATORIAL_EOD_COORD") this.#drift();
    };
    server.on("EQUATORIAL_EOD_COORD", ({ values }) => this.#goTo(Number(values.RA), Number(values.DEC)));
    server.on("TELESCOPE_TRACK_STATE", ({ values }) => this.#track(values.TRACK_ON === "On"));
    server.on("TELESCOPE_PARK", ({ values }) => this.#park(values.PARK === "On"));
    server.on("TELESCOPE_ABORT_MOTION", () => this.#abort());
    server.on("TELESCOPE_MOTION_NS", ({ values }) =>
      this.#jog("NS", values.MOTION_NORTH, values.MOTION_SOUTH),
    );
    server.on("TELESCOPE_MOTION_WE", ({ values }) => this.#jog("WE", values.MOTION_EAST, values.MOTION_WEST));
    server.on("TELESCOPE_TIMED_GUIDE_NS", ({ values }) =>
      this.#pulse("NS", values.TIMED_GUIDE_N, values.TIMED_GUIDE_S),
    );
    server.on("TELESCOPE_TIMED_GUIDE_WE", ({ values }) =>
      this.#pulse("WE", values.TIMED_GUIDE_E, values.TIMED_GUIDE_W),
    );
  }

  get tracking(): boolean {
    return this.server.value(mountName, "TELESCOPE_TRACK_STATE", "TRACK_ON") === "On";
  }

  get parked(): boolean {
    return this.server.value(mountName, "TELESCOPE_PARK", "PARK") === "On";
  }

  /** Hands a standing mount over to the present time: the sky has moved on. */
  #drift(): void {
    const now = this.server.clock.nowMs();
    const seconds = (now - this.#lookedMs) / 1000;
    this.#lookedMs = now;
    if (!this.tracking && !this.#target) this.raHours += (seconds * siderealDegreesPerSecond) / 15;
    const solar = this.server.values(mountName, "TELESCOPE_TRACK_MODE").TRACK_SOLAR === "On";
    if (this.tracking && solar) {
      this.raHours += (seconds * 0.041) / 15 / 3600;
    }
    this.server.remember(mountName, "EQUATORIAL_EOD_COORD", this.#place());
  }

  #place() {
    return { RA: String(this.raHours), DEC: String(this.decDegrees) };
  }

  #set(name: string, state: string, values: Record<string, string> = {}): void {
    if (this.server.has(mountName, name)) this.server.set(mountName, name, state, values);
  }

  #say(state: string): void {
    this.#set("EQUATORIAL_EOD_COORD", state, this.#place());
  }

  #goTo(raHours: number, decDegrees: number): void {
    if (!(raHours >= 0 && raHours <= 24 && Math.abs(decDegrees) <= 90)) return;
    if (this.parked) {
      this.server.message(
        mountName,
        "[WARNING] Please unpark the mount before issuing any motion/sync commands.",
      );
      this.#say("Idle");
      return;
    }
    this.#drift();
    if (this.server.value(mountName, "ON_COORD_SET", "SYNC") === "On") {
      this.raHours = raHours;
      this.decDegrees = decDegrees;
      this.#say("Ok");
      return;
    }
    const far = Math.hypot((raHours - this.raHours) * 15, decDegrees - this.decDegrees) > 1;
    const missHours = far ? (this.quirks.longSlewMissArcsec ?? 0) / 3600 / 15 : 0;
    const start = this.#target === undefined;
    this.#target = { raHours: raHours + missHours, decDegrees, parking: false };
    this.#say("Busy");
    if (start) this.server.after(0.1, () => this.#slewStep());
  }

  #slewStep(): void {
    const target = this.#target;
    if (!target) return;
    this.#set("TELESCOPE_TRACK_STATE", "Idle", onlyOn(["TRACK_ON", "TRACK_OFF"], "TRACK_OFF"));
    const step = 6 * 0.25;
    const raStep = clamp((target.raHours - this.raHours) * 15, step);
    const decStep = clamp(target.decDegrees - this.decDegrees, step);
    this.raHours += raStep / 15;
    this.decDegrees += decStep;
    this.#lookedMs = this.server.clock.nowMs();
    if (Math.abs(raStep) === step || Math.abs(decStep) === step) {
      this.#say("Busy");
      this.server.after(0.25, () => this.#slewStep());
      return;
    }
    this.#target = undefined;
    if (target.parking) {
      this.#set("TELESCOPE_PARK", "Ok", onlyOn(["PARK", "UNPARK"], "PARK"));
      this.#say("Idle");
      return;
    }
    this.#set("TELESCOPE_TRACK_STATE", "Busy", onlyOn(["TRACK_ON", "TRACK_OFF"], "TRACK_ON"));
    this.#say(this.quirks.staysBusy ? "Busy" : "Ok");
  }

  #track(on: boolean): void {
    this.#drift();
    if (on && this.parked) {
      this.server.message(mountName, "[WARNING] Telescope is Parked, Unpark before tracking.");
      this.#set("TELESCOPE_TRACK_STATE", "Idle", onlyOn(["TRACK_ON", "TRACK_OFF"], "TRACK_OFF"));
      return;
    }
    this.#set(
      "TELESCOPE_TRACK_STATE",
      on ? "Busy" : "Idle",
      onlyOn(["TRACK_ON", "TRACK_OFF"], on ? "TRACK_ON" : "TRACK_OFF"),
    );
    this.server.after(0.25, () => this.#say(this.quirks.staysBusy ? "Busy" : on ? "Ok" : "Idle"));
  }

  #park(parked: boolean): void {
    if (!parked) {
      this.#set("TELESCOPE_PARK", "Ok", onlyOn(["PARK", "UNPARK"], "UNPARK"));
      this.#set("TELESCOPE_PARK", "Ok");
      return;
    }
    this.#drift();
    this.#set("TELESCOPE_PARK", "Busy", onlyOn(["PARK", "UNPARK"], "PARK"));
    this.#target = { raHours: this.raHours - 2, decDegrees: 0, parking: true };
    this.server.after(0.2, () => this.#slewStep());
  }

  /** As recorded: the coordinates go Idle, and tracking comes back by itself a moment later. */
  #abort(): void {
    this.abortCount++;
    this.#target = undefined;
    this.#jogs.clear();
    this.#set("TELESCOPE_MOTION_NS", "Idle", { MOTION_NORTH: "Off", MOTION_SOUTH: "Off" });
    this.#set("TELESCOPE_MOTION_WE", "Idle", { MOTION_WEST: "Off", MOTION_EAST: "Off" });
    this.#say(this.quirks.staysBusy ? "Busy" : "Idle");
    this.#set("TELESCOPE_ABORT_MOTION", "Ok", { ABORT: "Off" });
    this.server.after(0.14, () => {
      this.#set("TELESCOPE_TRACK_STATE", "Busy", onlyOn(["TRACK_ON", "TRACK_OFF"], "TRACK_ON"));
      this.#say(this.quirks.staysBusy ? "Busy" : "Ok");
    });
  }

  #jog(axis: "NS" | "WE", forward: string | undefined, backward: string | undefined): void {
    const way = forward === "On" ? 1 : backward === "On" ? -1 : 0;
    const names = axis === "NS" ? ["MOTION_NORTH", "MOTION_SOUTH"] : ["MOTION_EAST", "MOTION_WEST"];
    const values = { [names[0]!]: way > 0 ? "On" : "Off", [names[1]!]: way < 0 ? "On" : "Off" };
    if (way === 0) {
      this.#jogs.delete(axis);
      this.#set(`TELESCOPE_MOTION_${axis}`, "Idle", values);
      return;
    }
    this.#jogs.set(axis, way);
    this.#set(`TELESCOPE_MOTION_${axis}`, "Busy", values);
    const arcsecPerSecond = 60;
    const step = () => {
      if (this.#jogs.get(axis) !== way) return;
      this.#move(axis, way * arcsecPerSecond * 0.05);
      this.#say("Ok");
      this.server.after(0.05, step);
    };
    this.server.after(0.05, step);
  }

  /** As recorded: Busy, then Idle with 0 and not Ok; accepted while parked. */
  #pulse(axis: "NS" | "WE", forward: string | undefined, backward: string | undefined): void {
    const ms = Number(forward) - Number(backward);
    const name = `TELESCOPE_TIMED_GUIDE_${axis}`;
    this.#set(
      name,
      "Busy",
      axis === "NS" ? { TIMED_GUIDE_N: forward ?? "0" } : { TIMED_GUIDE_E: forward ?? "0" },
    );
    this.server.after(Math.abs(ms) / 1000, () => {
      this.#move(axis, (ms / 1000) * 0.5 * 15.041067 * (this.quirks.pulseGain ?? 1));
      this.#set(
        name,
        "Idle",
        axis === "NS"
          ? { TIMED_GUIDE_N: "0", TIMED_GUIDE_S: "0" }
          : { TIMED_GUIDE_W: "0", TIMED_GUIDE_E: "0" },
      );
    });
  }

  #move(axis: "NS" | "WE", arcsec: number): void {
    if (axis === "NS") this.decDegrees += ((this.quirks.northGoesSouth ? -1 : 1) * arcsec) / 3600;
    else this.raHours += arcsec / 3600 / 15;
  }
}

function onlyOn(names: readonly string[], on: string): Record<string, string> {
  return Object.fromEntries(names.map((name) => [name, name === on ? "On" : "Off"]));
}

function clamp(value: number, limit: number): number {
  return Math.max(-limit, Math.min(limit, value));
}
