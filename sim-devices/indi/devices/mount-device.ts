import { hourAngleArcsecPerSecond, type TrackRate } from "../../scene/mechanics/mount-rates.ts";
import type { Moment } from "../../scene/moment.ts";
import { wrapDegrees } from "../../scene/sun/sun-place.ts";
import type { World } from "../../scene/world.ts";
import { type NewValues, SimDevice } from "../sim-device.ts";
import type { Ticker } from "../ticker.ts";
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
const worthSendingDegrees = 0.1 / 3600;

const rates: Readonly<Record<string, TrackRate>> = {
  TRACK_SIDEREAL: "sidereal",
  TRACK_SOLAR: "solar",
  TRACK_LUNAR: "lunar",
  TRACK_CUSTOM: "custom",
};

/** The scene's mount as an INDI device. Silent while it tracks and its coordinates do not change. */
export class MountDevice extends SimDevice {
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
    super(name, world, { driver: "mount-driver", interfaceBits: mountInterface });
    const v = mountVectors(world);
    this.#v = v;
    this.#poll = this.poll(
      () => this.#pollSeconds(),
      () => this.#sendCoordinates(),
    );
    this.keep(v.onSet);
    this.on(v.eod, (values) => this.#goto(values));
    this.show(v.target);
    this.on(v.abort, () => this.#abort());
    this.keep(v.trackMode, () => {
      world.mount.setTracking(world.mount.tracking, rates[selectedSwitch(v.trackMode) ?? ""] ?? "sidereal");
      this.#poll.kick();
    });
    this.on(v.trackState, (values) => this.#setTracking(values));
    this.keep(v.trackRate, () => {
      const [ha, dec] = [numberOf(v.trackRate, "TRACK_RATE_RA"), numberOf(v.trackRate, "TRACK_RATE_DE")];
      world.mount.customRate = { ha, dec };
      world.mount.setTracking(world.mount.tracking);
    });
    this.on(v.motionNs, (values) => this.#jog(v.motionNs, values));
    this.on(v.motionWe, (values) => this.#jog(v.motionWe, values));
    this.keep(v.reverse);
    this.keep(v.slewRate);
    this.on(v.guideNs, (values) => this.#pulse(v.guideNs, values));
    this.on(v.guideWe, (values) => this.#pulse(v.guideWe, values));
    this.keep(v.guideRate);
    this.on(v.park, (values) => this.#park(values));
    this.keep(v.parkPosition, () => {
      const hourAngleDegrees = numberOf(v.parkPosition, "PARK_HA") * 15;
      world.mount.parkAt = { hourAngleDegrees, decDegrees: numberOf(v.parkPosition, "PARK_DEC") };
    });
    this.on(v.parkOption, (values) => this.#parkOption(values));
    this.on(v.site, (values) => this.#setSite(values));
    this.on(v.time, (values) => this.#setTime(values));
    v.eod.refresh = () => this.#readCoordinates();
    // A hand control may have switched it.
    v.trackState.refresh = () => {
      if (world.mount.phase === "still") this.#readTracking();
    };
    v.time.refresh = () => {
      v.time.elements[0]!.value = indiTime(world.mount.believedUtcMs);
    };
    world.listen((moment) => {
      if (moment.part === "mount" && this.connected) this.#follow(moment);
    });
    this.whenConnected(() => {
      this.#readTracking();
      // A driver that was started again knows a parking that was carried out, and none that was under way.
      if (v.park.state === "Idle") selectSwitch(v.park, world.mount.parked ? "PARK" : "UNPARK");
    });
  }

  #pollSeconds(): number | undefined {
    const { mount } = this.world;
    if (mount.phase !== "still" || mount.jogging || mount.pulsing) return movingSeconds;
    if (!mount.tracking) return standingSeconds;
    const rate = mount.rate === "custom" ? mount.customRate.ha : hourAngleArcsecPerSecond[mount.rate];
    const crawl =
      Math.abs(rate - hourAngleArcsecPerSecond.sidereal) +
      (mount.rate === "custom" ? Math.abs(mount.customRate.dec) : 0);
    return crawl < 1e-6 ? undefined : Math.max(movingSeconds, (worthSendingDegrees * 3600) / crawl);
  }

  #readCoordinates(): void {
    const at = this.world.mount.believed;
    putNumbers(this.#v.eod, [at.raHours, at.decDegrees]);
    this.#v.eod.state = this.#eodState();
  }

  #eodState() {
    const { mount } = this.world;
    if (mount.phase !== "still") return "Busy";
    return mount.tracking || mount.jogging ? "Ok" : "Idle";
  }

  #sendCoordinates(force = false): void {
    const at = this.world.mount.believed;
    const moved = Math.max(
      Math.abs(wrapDegrees((at.raHours - this.#sent.ra) * 15)),
      Math.abs(at.decDegrees - this.#sent.dec),
    );
    const state = this.#eodState();
    if (!force && moved < worthSendingDegrees * 0.99 && state === this.#sent.state) return;
    this.#sent = { ra: at.raHours, dec: at.decDegrees, state };
    this.set(this.#v.eod);
  }

  #readTracking(): void {
    const { tracking } = this.world.mount;
    selectSwitch(this.#v.trackState, tracking ? "TRACK_ON" : "TRACK_OFF");
    this.#v.trackState.state = tracking ? "Busy" : "Idle";
  }

  #sendTracking(): void {
    this.#readTracking();
    this.set(this.#v.trackState);
  }

  /** Turns the switches of a motion off. */
  #endJog(vector: SwitchVector): void {
    selectSwitch(vector, undefined);
    this.set(vector, "Idle");
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
          `Telescope slew is complete. ${this.world.mount.tracking ? "Tracking..." : "Stopped."}`,
        );
        this.#sendTracking();
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
        this.#sendTracking();
        this.#endJog(v.motionNs);
        this.#endJog(v.motionWe);
        break;
      default:
    }
    this.#sendCoordinates();
    this.#poll.kick();
  }

  #refuseParked(): boolean {
    if (!this.world.mount.parked) return false;
    this.message("WARNING", "Please unpark the mount before issuing any motion/sync commands.");
    return true;
  }

  #goto(values: NewValues<number>): void {
    const { mount } = this.world;
    const v = this.#v;
    const raHours = values.get("RA");
    const decDegrees = values.get("DEC");
    // The library does not answer a target that is half given or outside the sky.
    if (raHours === undefined || decDegrees === undefined) return;
    if (!(raHours >= 0 && raHours <= 24 && Math.abs(decDegrees) <= 90)) return;
    if (this.#refuseParked()) {
      this.#sendCoordinates(true);
      return;
    }
    const target = { raHours, decDegrees };
    if (selectedSwitch(v.onSet) === "SYNC") {
      mount.syncTo(target);
      this.message("INFO", "Sync is successful.");
      this.#sendCoordinates(true);
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
    this.#sendCoordinates(true);
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
    const { mount } = this.world;
    const v = this.#v;
    mount.stop();
    for (const vector of [v.motionNs, v.motionWe]) {
      if (selectedSwitch(vector) !== undefined) this.#endJog(vector);
    }
    for (const vector of [v.guideNs, v.guideWe]) {
      if (vector.state !== "Busy") continue;
      putNumbers(vector, [0, 0]);
      this.set(vector, "Idle");
    }
    this.message("INFO", "Slew/Track aborted.");
    this.set(v.abort, "Ok");
    this.#sendTracking();
    this.#sendCoordinates(true);
    this.#poll.kick();
  }

  #setTracking(values: NewValues<boolean>): void {
    const { mount } = this.world;
    const wish = values.get("TRACK_ON") === true;
    if (wish && mount.parked) this.message("WARNING", "Telescope is Parked, Unpark before tracking.");
    else if (mount.phase !== "parking") mount.setTracking(wish);
    this.#sendTracking();
    this.#sendCoordinates();
    this.#poll.kick();
  }

  #jog(vector: SwitchVector, values: NewValues<boolean>): void {
    if (this.#refuseParked()) {
      this.#endJog(vector);
      return;
    }
    const wish = [...values].find(([, on]) => on)?.[0];
    selectSwitch(vector, wish);
    const speed = jogSpeeds.find((s) => s.name === selectedSwitch(this.#v.slewRate))?.degreesPerSecond;
    const rate = speed ?? this.world.spec.mount.slewDegreesPerSecond;
    const isNs = vector === this.#v.motionNs;
    const sign = wish === undefined ? 0 : wish === "MOTION_NORTH" || wish === "MOTION_EAST" ? 1 : -1;
    const isReversed = this.#v.reverse.elements[isNs ? 0 : 1]!.value;
    this.world.mount.jog(isNs ? "north" : "east", sign * rate * (isReversed ? -1 : 1));
    this.set(vector, wish === undefined ? "Idle" : "Busy");
    this.#poll.kick();
  }

  #pulse(vector: NumberVector, values: NewValues<number>): void {
    if (!this.takeNumbers(vector, values)) return;
    const isNs = vector === this.#v.guideNs;
    const [plus, minus] = isNs ? ["TIMED_GUIDE_N", "TIMED_GUIDE_S"] : ["TIMED_GUIDE_E", "TIMED_GUIDE_W"];
    const plusMs = values.get(plus!) ?? 0;
    const minusMs = values.get(minus!) ?? 0;
    for (const element of vector.elements) element.value = values.get(element.name) ?? 0;
    const done = () => {
      putNumbers(vector, [0, 0]);
      if (!this.connected) return;
      this.set(vector, "Idle"); // the library ends a pulse Idle, not Ok
      this.#sendCoordinates();
    };
    const byMs = plusMs > 0 ? plusMs : minusMs;
    if (byMs === 0) {
      done();
      return;
    }
    const fraction = numberOf(this.#v.guideRate, isNs ? "GUIDE_RATE_NS" : "GUIDE_RATE_WE");
    const rate = (fraction * hourAngleArcsecPerSecond.sidereal) / 3600;
    this.world.mount.pulse(isNs ? "north" : "east", plusMs > 0 ? rate : -rate, byMs / 1000, done);
    this.set(vector, "Busy");
    this.#poll.kick();
  }

  #park(values: NewValues<boolean>): void {
    const { mount } = this.world;
    const v = this.#v.park;
    if (values.get("PARK")) {
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
      this.#sendTracking();
      return;
    }
    if (!values.get("UNPARK")) return;
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

  #parkOption(values: NewValues<boolean>): void {
    const { mount, mechanics } = this.world;
    if (values.get("PARK_CURRENT")) mount.parkAt = { ...mount.believedAxes };
    else if (values.get("PARK_DEFAULT")) mount.parkAt = { ...mechanics.parkAt };
    putNumbers(this.#v.parkPosition, [mount.parkAt.hourAngleDegrees / 15, mount.parkAt.decDegrees]);
    this.set(this.#v.parkPosition, "Ok");
    this.set(this.#v.parkOption, "Ok");
  }

  #setSite(values: NewValues<number>): void {
    const v = this.#v.site;
    if (v.elements.some((e) => !values.has(e.name)) || !this.takeNumbers(v, values)) return;
    this.world.mount.believedSite = {
      latitudeDegrees: numberOf(v, "LAT"),
      longitudeDegrees: wrapDegrees(numberOf(v, "LONG")),
      elevationMetres: numberOf(v, "ELEV"),
    };
    this.set(v, "Ok");
    this.#sendCoordinates();
  }

  #setTime(values: NewValues<string>): void {
    const v = this.#v.time;
    const utcMs = Date.parse(`${(values.get("UTC") ?? "").replace(/Z$/, "")}Z`);
    if (Number.isNaN(utcMs)) {
      this.message("ERROR", "The UTC time is invalid.");
      this.set(v, "Alert");
      return;
    }
    // Whole seconds come in; an error below one second is the text's, not the clock's.
    const error = (utcMs - this.world.clock.nowMs()) / 1000;
    this.world.mount.clockErrorSeconds = Math.abs(error) < 1 ? 0 : error;
    v.elements[1]!.value = values.get("OFFSET") ?? v.elements[1]!.value;
    this.set(v, "Ok");
  }
}
