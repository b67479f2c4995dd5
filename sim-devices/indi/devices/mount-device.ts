import { hourAngleArcsecPerSecond, type TrackRate } from "../../scene/mechanics/mount-rates.ts";
import type { Moment } from "../../scene/moment.ts";
import { wrapDegrees } from "../../scene/sun/sun-place.ts";
import type { World } from "../../scene/world.ts";
import { type NumbersAsked, SimDevice, type SwitchesAsked, type TextsAsked } from "../sim-device.ts";
import { Ticker } from "../ticker.ts";
import {
  type NumberVector,
  numberOf,
  putNumbers,
  type SwitchVector,
  selectedSwitch,
  selectSwitch,
} from "../vector.ts";
import { indiTime } from "../vector-xml.ts";
import { jogSpeeds, mountVectors } from "./mount-vectors.ts";

/** Telescope with guide port. */
const mountInterface = 1 | 4;

/** While it moves coordinates are sent this often [s]; while it stands and the sky turns, less often. */
const movingSeconds = 0.25;
const standingSeconds = 1;
/** Coordinates that changed by less are not sent again [degrees]. */
const worthTellingDegrees = 0.1 / 3600;

const rates: Readonly<Record<string, TrackRate>> = {
  TRACK_SIDEREAL: "sidereal",
  TRACK_SOLAR: "solar",
  TRACK_LUNAR: "lunar",
  TRACK_CUSTOM: "custom",
};

/** The scene's mount as an INDI device. Silent while it tracks and its coordinates do not change. */
export class MountDevice extends SimDevice {
  readonly #world: World;
  readonly #v: ReturnType<typeof mountVectors>;
  readonly #poll: Ticker;
  #sent = { ra: Number.NaN, dec: Number.NaN, state: "" };
  protected override readonly volatile = new Set([
    "EQUATORIAL_EOD_COORD",
    "TELESCOPE_TIMED_GUIDE_NS",
    "TELESCOPE_TIMED_GUIDE_WE",
    "TIME_UTC",
    "TELESCOPE_TRACK_STATE",
    "TELESCOPE_PARK",
  ]);

  constructor(name: string, world: World) {
    super(name, world.clock, { driver: "mount-driver", interfaceBits: mountInterface });
    this.#world = world;
    const v = mountVectors(world);
    this.#v = v;
    this.#poll = new Ticker(
      world.clock,
      () => this.#pollSeconds(),
      () => this.#tellCoordinates(),
    );
    this.onSwitch(v.onSet, (asked) => this.#keepSwitch(v.onSet, asked));
    this.onNumber(v.eod, (asked) => this.#goto(asked));
    this.show(v.target);
    this.onSwitch(v.abort, () => this.#abort());
    this.onSwitch(v.trackMode, (asked) => this.#setTrackMode(asked));
    this.onSwitch(v.trackState, (asked) => this.#setTracking(asked));
    this.onNumber(v.trackRate, (asked) => this.#setCustomRate(asked));
    this.onSwitch(v.motionNs, (asked) => this.#jog(v.motionNs, asked));
    this.onSwitch(v.motionWe, (asked) => this.#jog(v.motionWe, asked));
    this.onSwitch(v.reverse, (asked) => this.#keepSwitch(v.reverse, asked));
    this.onSwitch(v.slewRate, (asked) => this.#keepSwitch(v.slewRate, asked));
    this.onNumber(v.guideNs, (asked) => this.#pulse(v.guideNs, asked));
    this.onNumber(v.guideWe, (asked) => this.#pulse(v.guideWe, asked));
    this.onNumber(v.guideRate, (asked) => {
      if (this.takeNumbers(v.guideRate, asked)) this.set(v.guideRate, "Ok");
    });
    this.onSwitch(v.park, (asked) => this.#park(asked));
    this.onNumber(v.parkPosition, (asked) => this.#setParkPosition(asked));
    this.onSwitch(v.parkOption, (asked) => this.#parkOption(asked));
    this.onNumber(v.site, (asked) => this.#setSite(asked));
    this.onText(v.time, (asked) => this.#setTime(asked));
    v.eod.refresh = () => this.#readCoordinates();
    v.time.refresh = () => {
      v.time.elements[0]!.value = indiTime(world.mount.believedUtcMs);
    };
    world.listen((moment) => {
      if (moment.part === "mount" && this.connected) this.#follow(moment);
    });
  }

  protected override whenConnected(): void {
    this.#v.trackState.state = this.#world.mount.tracking ? "Busy" : "Idle";
    selectSwitch(this.#v.trackState, this.#world.mount.tracking ? "TRACK_ON" : "TRACK_OFF");
    this.#poll.kick();
  }

  protected override whenDisconnected(): void {
    this.#poll.stop();
  }

  #pollSeconds(): number | undefined {
    const { mount } = this.#world;
    if (mount.phase !== "still" || mount.jogging || mount.pulsing) return movingSeconds;
    if (!mount.tracking) return standingSeconds;
    const rate = mount.rate === "custom" ? mount.customRate.ha : hourAngleArcsecPerSecond[mount.rate];
    const crawl =
      Math.abs(rate - hourAngleArcsecPerSecond.sidereal) +
      (mount.rate === "custom" ? Math.abs(mount.customRate.dec) : 0);
    return crawl < 1e-6 ? undefined : Math.max(movingSeconds, (worthTellingDegrees * 3600) / crawl);
  }

  #readCoordinates(): void {
    const at = this.#world.mount.believed;
    putNumbers(this.#v.eod, [at.raHours, at.decDegrees]);
    this.#v.eod.state = this.#eodState();
  }

  #eodState() {
    const { mount } = this.#world;
    if (mount.phase !== "still") return "Busy";
    return mount.tracking || mount.jogging ? "Ok" : "Idle";
  }

  #tellCoordinates(force = false): void {
    const at = this.#world.mount.believed;
    const moved = Math.max(
      Math.abs(wrapDegrees((at.raHours - this.#sent.ra) * 15)),
      Math.abs(at.decDegrees - this.#sent.dec),
    );
    const state = this.#eodState();
    if (!force && moved < worthTellingDegrees * 0.99 && state === this.#sent.state) return;
    this.#sent = { ra: at.raHours, dec: at.decDegrees, state };
    this.set(this.#v.eod);
  }

  #tellTracking(): void {
    const { tracking } = this.#world.mount;
    selectSwitch(this.#v.trackState, tracking ? "TRACK_ON" : "TRACK_OFF");
    this.set(this.#v.trackState, tracking ? "Busy" : "Idle");
  }

  /** What the mechanics did, told as the library's mount does. */
  #follow(moment: Moment): void {
    const v = this.#v;
    switch (moment.what) {
      case "trackingOn":
      case "trackingOff":
        return; // whoever commanded it tells, tracking first
      case "slewEnded":
        this.message(
          "INFO",
          `Telescope slew is complete. ${this.#world.mount.tracking ? "Tracking..." : "Stopped."}`,
        );
        this.#tellTracking();
        break;
      case "parked":
        this.message("INFO", "Mount is parked.");
        selectSwitch(v.park, "PARK");
        this.set(v.park, "Ok");
        break;
      case "parkStopped":
        selectSwitch(v.park, undefined);
        this.set(v.park, "Alert");
        break;
      case "limitReached":
        this.message("ERROR", `Stopped at a limit: ${moment.detail}.`);
        this.#tellTracking();
        for (const vector of [v.motionNs, v.motionWe]) {
          selectSwitch(vector, undefined);
          this.set(vector, "Idle");
        }
        break;
      default:
    }
    this.#tellCoordinates();
    this.#poll.kick();
  }

  #keepSwitch(vector: SwitchVector, asked: SwitchesAsked): void {
    this.takeSwitches(vector, asked);
    this.set(vector, "Ok");
  }

  #refuseParked(): boolean {
    if (!this.#world.mount.parked) return false;
    this.message("WARNING", "Please unpark the mount before issuing any motion/sync commands.");
    return true;
  }

  #goto(asked: NumbersAsked): void {
    const { mount } = this.#world;
    const v = this.#v;
    const raHours = asked.get("RA");
    const decDegrees = asked.get("DEC");
    // The library does not answer a target that is half given or outside the sky.
    if (raHours === undefined || decDegrees === undefined) return;
    if (!(raHours >= 0 && raHours <= 24 && Math.abs(decDegrees) <= 90)) return;
    if (this.#refuseParked()) {
      this.#tellCoordinates(true);
      return;
    }
    const target = { raHours, decDegrees };
    if (selectedSwitch(v.onSet) === "SYNC") {
      mount.syncTo(target);
      this.message("INFO", "Sync is successful.");
      this.#tellCoordinates(true);
      return;
    }
    const wasTracking = mount.tracking;
    const refusal = mount.slewTo(target, true);
    if (refusal) {
      this.message("ERROR", `Slew refused: ${refusal}.`);
      v.eod.state = "Alert";
      const at = mount.believed;
      this.#sent = { ra: at.raHours, dec: at.decDegrees, state: "Alert" };
      this.#setEodAs("Alert");
      return;
    }
    this.message("INFO", `Slewing to RA: ${raHours.toFixed(5)} - DEC: ${decDegrees.toFixed(5)}`);
    putNumbers(v.target, [raHours, decDegrees]);
    this.set(v.target);
    this.#tellCoordinates(true);
    if (wasTracking) {
      selectSwitch(v.trackState, "TRACK_OFF");
      this.set(v.trackState, "Idle");
    }
  }

  /** Sends the coordinates with a state that says more than the motion does. */
  #setEodAs(state: "Alert"): void {
    const { refresh } = this.#v.eod;
    delete this.#v.eod.refresh;
    this.set(this.#v.eod, state);
    if (refresh) this.#v.eod.refresh = refresh;
  }

  #abort(): void {
    const { mount } = this.#world;
    const v = this.#v;
    mount.stop();
    for (const vector of [v.motionNs, v.motionWe]) {
      if (selectedSwitch(vector) === undefined) continue;
      selectSwitch(vector, undefined);
      this.set(vector, "Idle");
    }
    for (const vector of [v.guideNs, v.guideWe]) {
      if (vector.state !== "Busy") continue;
      putNumbers(vector, [0, 0]);
      this.set(vector, "Idle");
    }
    this.message("INFO", "Slew/Track aborted.");
    this.set(v.abort, "Ok");
    this.#tellTracking();
    this.#tellCoordinates(true);
    this.#poll.kick();
  }

  #setTrackMode(asked: SwitchesAsked): void {
    const v = this.#v.trackMode;
    const { mount } = this.#world;
    if (this.takeSwitches(v, asked))
      mount.setTracking(mount.tracking, rates[selectedSwitch(v) ?? ""] ?? "sidereal");
    this.set(v, "Ok");
    this.#poll.kick();
  }

  #setTracking(asked: SwitchesAsked): void {
    const { mount } = this.#world;
    const wish = asked.get("TRACK_ON") === true;
    if (wish && mount.parked) this.message("WARNING", "Telescope is Parked, Unpark before tracking.");
    else if (mount.phase !== "parking") mount.setTracking(wish);
    this.#tellTracking();
    this.#tellCoordinates();
    this.#poll.kick();
  }

  #setCustomRate(asked: NumbersAsked): void {
    const v = this.#v.trackRate;
    if (!this.takeNumbers(v, asked)) return;
    const { mount } = this.#world;
    mount.customRate = { ha: numberOf(v, "TRACK_RATE_RA"), dec: numberOf(v, "TRACK_RATE_DE") };
    mount.setTracking(mount.tracking);
    this.set(v, "Ok");
  }

  #reversed(element: "REVERSE_NS" | "REVERSE_WE"): 1 | -1 {
    return this.#v.reverse.elements.find((e) => e.name === element)?.value ? -1 : 1;
  }

  #jog(vector: SwitchVector, asked: SwitchesAsked): void {
    if (this.#refuseParked()) {
      selectSwitch(vector, undefined);
      this.set(vector, "Idle");
      return;
    }
    const wish = [...asked].find(([, on]) => on)?.[0];
    selectSwitch(vector, wish);
    const speed = jogSpeeds.find((s) => s.name === selectedSwitch(this.#v.slewRate))?.degreesPerSecond;
    const rate = speed ?? this.#world.spec.mount.slewDegreesPerSecond;
    const isNs = vector === this.#v.motionNs;
    const sign = wish === undefined ? 0 : wish === "MOTION_NORTH" || wish === "MOTION_EAST" ? 1 : -1;
    const reversed = this.#reversed(isNs ? "REVERSE_NS" : "REVERSE_WE");
    this.#world.mount.jog(isNs ? "north" : "east", sign * rate * reversed);
    this.set(vector, wish === undefined ? "Idle" : "Busy");
    this.#poll.kick();
  }

  #pulse(vector: NumberVector, asked: NumbersAsked): void {
    if (!this.takeNumbers(vector, asked)) return;
    const isNs = vector === this.#v.guideNs;
    const [plus, minus] = isNs ? ["TIMED_GUIDE_N", "TIMED_GUIDE_S"] : ["TIMED_GUIDE_E", "TIMED_GUIDE_W"];
    const plusMs = asked.get(plus!) ?? 0;
    const minusMs = asked.get(minus!) ?? 0;
    vector.elements.forEach((element) => {
      element.value = asked.get(element.name) ?? 0;
    });
    const done = () => {
      putNumbers(vector, [0, 0]);
      if (!this.connected) return;
      this.set(vector, "Idle"); // the library ends a pulse Idle, not Ok
      this.#tellCoordinates();
    };
    const byMs = plusMs > 0 ? plusMs : minusMs;
    if (byMs === 0) {
      done();
      return;
    }
    const fraction = numberOf(this.#v.guideRate, isNs ? "GUIDE_RATE_NS" : "GUIDE_RATE_WE");
    const rate = (fraction * hourAngleArcsecPerSecond.sidereal) / 3600;
    this.#world.mount.pulse(isNs ? "north" : "east", plusMs > 0 ? rate : -rate, byMs / 1000, done);
    this.set(vector, "Busy");
    this.#poll.kick();
  }

  #park(asked: SwitchesAsked): void {
    const { mount } = this.#world;
    const v = this.#v.park;
    if (asked.get("PARK")) {
      if (mount.parked) {
        this.message("INFO", "Telescope already parked.");
        selectSwitch(v, "PARK");
        this.set(v, "Idle");
        return;
      }
      this.message("INFO", "Parking.");
      selectSwitch(v, "PARK");
      mount.park();
      this.set(v, "Busy");
      this.#tellTracking();
      return;
    }
    if (!asked.get("UNPARK")) return;
    selectSwitch(v, "UNPARK");
    if (mount.phase === "parking") {
      mount.stop(); // its news leave the park state unknown
      return;
    }
    const was = mount.parked;
    mount.unpark();
    this.message("INFO", was ? "Mount is unparked." : "Telescope already unparked.");
    this.set(v, was ? "Ok" : "Idle");
  }

  #setParkPosition(asked: NumbersAsked): void {
    const v = this.#v.parkPosition;
    if (!this.takeNumbers(v, asked)) return;
    this.#world.mount.parkAt = {
      hourAngleDegrees: numberOf(v, "PARK_HA") * 15,
      decDegrees: numberOf(v, "PARK_DEC"),
    };
    this.set(v, "Ok");
  }

  #parkOption(asked: SwitchesAsked): void {
    const { mount, mechanics } = this.#world;
    if (asked.get("PARK_CURRENT")) mount.parkAt = { ...mount.believedAxes };
    else if (asked.get("PARK_DEFAULT")) mount.parkAt = { ...mechanics.parkAt };
    putNumbers(this.#v.parkPosition, [mount.parkAt.hourAngleDegrees / 15, mount.parkAt.decDegrees]);
    this.set(this.#v.parkPosition, "Ok");
    this.set(this.#v.parkOption, "Ok");
  }

  #setSite(asked: NumbersAsked): void {
    const v = this.#v.site;
    if (v.elements.some((e) => !asked.has(e.name)) || !this.takeNumbers(v, asked)) return;
    this.#world.mount.believedSite = {
      latitudeDegrees: numberOf(v, "LAT"),
      longitudeDegrees: wrapDegrees(numberOf(v, "LONG")),
      elevationMetres: numberOf(v, "ELEV"),
    };
    this.set(v, "Ok");
    this.#tellCoordinates();
  }

  #setTime(asked: TextsAsked): void {
    const v = this.#v.time;
    const utcMs = Date.parse(`${(asked.get("UTC") ?? "").replace(/Z$/, "")}Z`);
    if (Number.isNaN(utcMs)) {
      this.message("ERROR", "The UTC time is invalid.");
      this.set(v, "Alert");
      return;
    }
    // Whole seconds come in; an error below one second is the text's, not the clock's.
    const error = (utcMs - this.clock.nowMs()) / 1000;
    this.#world.mount.clockErrorSeconds = Math.abs(error) < 1 ? 0 : error;
    v.elements[1]!.value = asked.get("OFFSET") ?? v.elements[1]!.value;
    this.set(v, "Ok");
  }
}
