import type { Clock, ClockTimer } from "../../drivers/kit/clock.ts";
import { given } from "../../drivers/kit/given.ts";
import { CameraMechanics, type LightPathNow } from "./mechanics/camera.ts";
import { ChangingView } from "./mechanics/changing-view.ts";
import { Cloud } from "./mechanics/cloud.ts";
import { DomeMechanics } from "./mechanics/dome.ts";
import { Glide, type GlideOptions } from "./mechanics/glide.ts";
import { type MechanicsSpec, usualMechanics } from "./mechanics/mechanics-spec.ts";
import { MountMechanics } from "./mechanics/mount.ts";
import { WeatherMechanics } from "./mechanics/weather.ts";
import type { Moment } from "./moment.ts";
import type { ExposureAsk, LightPath, TrainSlip } from "./painter-contract.ts";
import type { SceneSpec } from "./spec/scene-spec.ts";
import {
  azimuthDegrees,
  type Direction,
  type SunPlace,
  seenFrom,
  separationDegrees,
  sunPlace,
} from "./sun/sun-place.ts";
import {
  cameraAccount,
  domeAccount,
  mountAccount,
  type PartAccount,
  type WorldAccount,
} from "./world-account.ts";

/** How much brighter the Sun is without its filter: a front filter passes about 1 part in 10^4 to 10^5. */
const unfilteredTimes = 1e4;
/** Moments are taken this often while the telescope or a leaf in front of it moves [s]. */
const watchSeconds = 0.25;
/** A service that runs for months keeps the newest. */
const momentsMax = 200_000;

/** What a camera's driver can know of the other devices, for its headers. */
export interface ReportedState {
  readonly site: SceneSpec["site"] | undefined;
  /** Of date, as the mount reports it. */
  readonly pointing: Direction | undefined;
  readonly focusSteps: number | undefined;
  readonly wheelSlot: number | undefined;
  readonly rotatorDegrees: number | undefined;
}

/** Devices of others, for a driver that snoops; for what they have not reported the world's own parts stand in. */
export interface ExternalDevices extends ReportedState {
  readonly lineOfSight: Direction | undefined;
  readonly coverOpen: number | undefined;
  readonly diffuserIn: number | undefined;
}

export interface WorldOptions {
  readonly spec: SceneSpec;
  readonly clock: Clock;
  readonly paint: (light: LightPath, ask: ExposureAsk) => Uint16Array;
  readonly mechanics?: Partial<MechanicsSpec>;
  readonly elsewhere?: ExternalDevices;
}

/** The simulated rig: its mechanics, its sky, and the truth about both. Protocols only serve it. */
export class World {
  readonly spec: SceneSpec;
  readonly clock: Clock;
  readonly mechanics: MechanicsSpec;
  readonly mount: MountMechanics;
  readonly camera: CameraMechanics;
  /** 0 closed … 1 open. */
  readonly cover: Glide;
  /** 0 out of the light … 1 in it. */
  readonly diffuser: Glide;
  readonly focuser: Glide;
  readonly wheel: Glide;
  readonly rotator: Glide;
  readonly dome: DomeMechanics;
  readonly weather: WeatherMechanics;
  readonly cloud: Cloud;
  /** Everything that happened, in order. */
  readonly history: Moment[] = [];
  readonly #view: ChangingView;
  readonly #elsewhere: ExternalDevices | undefined;
  readonly #listeners = new Set<(moment: Moment) => void>();
  readonly #parts = new Map<string, { readonly account: () => PartAccount; readonly close: () => void }>();
  readonly #glides = new Map<string, Glide>();
  readonly #settings = new Map<string, () => Readonly<Record<string, unknown>>>();
  #isBuilt = false;
  #filterFitted = true;
  #slip: TrainSlip | undefined;
  #watch: ClockTimer | undefined;
  #lastSun:
    | { readonly site: SceneSpec["site"]; readonly utcMs: number; readonly place: SunPlace }
    | undefined;

  constructor(options: WorldOptions) {
    const { spec, clock } = options;
    this.spec = spec;
    this.clock = clock;
    this.mechanics = { ...usualMechanics, ...options.mechanics };
    this.#elsewhere = options.elsewhere;
    const m = this.mechanics;
    const { startsWith } = spec;
    this.camera = this.#take(
      "camera",
      new CameraMechanics({
        clock,
        spec: spec.camera,
        startsWith,
        coolerDegreesPerSecond: m.coolerDegreesPerSecond,
        glimpse: () => this.lightPathNow(),
        paint: options.paint,
        note: this.#noteOf("camera"),
      }),
      cameraAccount,
    );
    this.mount = this.#take(
      "mount",
      new MountMechanics({
        clock,
        spec: spec.mount,
        site: spec.site,
        parkAt: m.parkAt,
        note: this.#noteOf("mount"),
      }),
      mountAccount,
    );
    this.cover = this.glide("cover", "open", {
      position: startsWith.cover === "open" ? 1 : 0,
      unitsPerSecond: 1 / m.coverSeconds,
    });
    this.diffuser = this.glide("diffuser", "in", {
      position: startsWith.diffuserInPlace ? 1 : 0,
      unitsPerSecond: 1 / m.diffuserSeconds,
    });
    this.focuser = this.glide("focuser", "steps", {
      position: startsWith.focusSteps,
      unitsPerSecond: spec.focuser.stepsPerSecond,
      play: spec.focuser.backlashSteps,
    });
    this.wheel = this.glide("wheel", "slot", {
      position: startsWith.wheelSlot,
      unitsPerSecond: m.wheelSlotsPerSecond,
    });
    this.rotator = this.glide("rotator", "degrees", {
      position: startsWith.rotatorDegrees,
      unitsPerSecond: m.rotatorDegreesPerSecond,
    });
    const dome = new DomeMechanics(m.dome, clock, (part, what) => this.#note(part, what));
    this.dome = this.#take("dome", dome, domeAccount);
    this.weather = new WeatherMechanics((detail) => this.#note("weather", "changed", detail));
    this.cloud = new Cloud(spec.seed, spec.sky.cloud);
    this.#view = new ChangingView(spec);
    this.#isBuilt = true;
    this.#note("sky", "begun");
  }

  /**
   * Something that glides in this world, made when it is first asked for: both protocols serve the same one.
   * @param unit what its position is called in the account
   */
  glide(part: string, unit: string, options: Omit<GlideOptions, "clock" | "note">): Glide {
    const known = this.#glides.get(part);
    if (known) return known;
    const glide = new Glide({ clock: this.clock, note: this.#noteOf(part), ...options });
    this.#glides.set(part, glide);
    return this.#take(part, glide, ({ position, moving }) => ({ [unit]: position, moving }));
  }

  #take<P extends { close(): void }>(name: string, part: P, account: (part: P) => PartAccount): P {
    this.#parts.set(name, { account: () => account(part), close: () => part.close() });
    return part;
  }

  #noteOf(part: string) {
    return (what: string, detail?: string) => this.#note(part, what, detail);
  }

  /** Calls back at everything that happens. @returns how to stop that */
  listen(listener: (moment: Moment) => void): () => void {
    this.#listeners.add(listener);
    return () => this.#listeners.delete(listener);
  }

  /** Resolves once that holds after something has happened. */
  until(holds: () => boolean): Promise<void> {
    return new Promise((resolve) => {
      const stop = this.listen(() => {
        if (!holds()) return;
        stop();
        resolve();
      });
    });
  }

  get filterFitted(): boolean {
    return this.#filterFitted;
  }
  set filterFitted(fitted: boolean) {
    if (fitted === this.#filterFitted) return;
    this.#filterFitted = fitted;
    this.#note("filter", fitted ? "fitted" : "lost");
  }

  get slip(): TrainSlip | undefined {
    return this.#slip;
  }
  /** The tube moves against the camera, all at once. */
  set slip(slip: TrainSlip | undefined) {
    this.#slip = slip;
    this.#note("tube", slip ? "slipped" : "put back");
  }

  site(): SceneSpec["site"] {
    return this.#elsewhere?.site ?? this.spec.site;
  }

  /** Asked several times at one moment; an ephemeris is worked out once for it. */
  sun(): SunPlace {
    const [site, utcMs] = [this.site(), this.clock.nowMs()];
    const last = this.#lastSun;
    if (last?.site === site && last.utcMs === utcMs) return last.place;
    const place = sunPlace(site, utcMs);
    this.#lastSun = { site, utcMs, place };
    return place;
  }

  /** The true line of sight, of date. */
  lineOfSight(): Direction {
    return this.#elsewhere?.lineOfSight ?? this.mount.truth;
  }

  /** The light path as it is now. */
  lightPathNow(): LightPathNow {
    const sun = this.sun();
    const line = this.lineOfSight();
    const seen = seenFrom(line, sun);
    const from = this.#elsewhere;
    const utcMs = this.clock.nowMs();
    const shaken = this.#view.shakeArcsec(utcMs);
    return {
      sunEastArcsec: seen.eastArcsec - shaken.east,
      sunNorthArcsec: seen.northArcsec - shaken.north,
      sunAltitudeDegrees: sun.altitudeDegrees,
      sunSemidiameterArcsec: sun.semidiameterArcsec,
      sunPoleDegrees: sun.poleDegrees,
      coverOpenFraction: (from?.coverOpen ?? this.cover.position) * this.#roofOpen(sun, line),
      diffuserInPlace: (from?.diffuserIn ?? this.diffuser.position) > 0.5,
      focusSteps: from?.focusSteps ?? this.focuser.load,
      wheelSlot: Math.round(from?.wheelSlot ?? this.wheel.position),
      rotatorDegrees: from?.rotatorDegrees ?? this.rotator.position,
      ...given({ slip: this.#slip }),
      ...this.#view.at(utcMs),
      transparency: this.cloud.transparency(utcMs) * (this.#filterFitted ? 1 : unfilteredTimes),
    };
  }

  #roofOpen(sun: SunPlace, line: Direction): number {
    const hourAngle = sun.hourAngleDegrees + (sun.raHours - line.raHours) * 15;
    return this.dome.openFraction(azimuthDegrees(this.site(), hourAngle, line.decDegrees));
  }

  /** As the devices report themselves. */
  reportedState(): ReportedState {
    return (
      this.#elsewhere ?? {
        site: this.mount.believedSite,
        pointing: this.mount.believed,
        focusSteps: Math.round(this.focuser.reported),
        wheelSlot: Math.round(this.wheel.reported),
        rotatorDegrees: this.rotator.reported,
      }
    );
  }

  /** Lets a protocol's side add the settings that it keeps itself to the account. */
  addSettings(device: string, read: () => Readonly<Record<string, unknown>>): void {
    this.#settings.set(device, read);
  }

  /** Every setting and position by the world's own truth, as plain data. */
  account(): WorldAccount {
    const parts = [...this.#parts].map(([part, { account }]) => [part, account()] as const);
    const kept = [...this.#settings].map(([device, read]) => [device, read()] as const);
    return Object.fromEntries([...parts, ...kept]);
  }

  /** Records how the rig stands now; checkers see it. */
  recordState(): void {
    this.#note("sky", "looked");
  }

  /** What somebody asks of a device, whatever comes of it. */
  noteCommand(device: string, command: string): void {
    this.#note("wire", "commanded", `${device}: ${command}`);
  }

  /** What becomes of the camera's picture on its way to a client, where it is not simply handed on. */
  notePicture(what: "did not come whole" | "came late"): void {
    this.#note("wire", "picture", what);
  }

  /** What an agent does beside the rig, by the word of who plays it. */
  noteAgent(what: string): void {
    this.#note("agent", what);
  }

  /** Ends the world: no timer of its own is left on the clock. */
  close(): void {
    for (const part of this.#parts.values()) part.close();
    this.#watch?.cancel();
    this.#watch = undefined;
    this.#listeners.clear();
  }

  #note(part: string, what: string, detail?: string): void {
    if (!this.#isBuilt) return;
    const sun = this.sun();
    const line = this.lineOfSight();
    const target = this.mount.slewTarget;
    const moment: Moment = {
      atMs: this.clock.nowMs(),
      part,
      what,
      coverOpen: this.cover.position,
      coverReported: this.cover.reported,
      coverTarget: this.cover.target,
      roofOpen: this.#roofOpen(sun, line),
      diffuserIn: this.diffuser.position,
      mount: this.mount.phase,
      parked: this.mount.parked,
      sunSeparationDegrees: separationDegrees(line, sun),
      ...given({ detail, targetSunSeparationDegrees: target && separationDegrees(target, sun) }),
      sunAltitudeDegrees: sun.altitudeDegrees,
      exposing: this.camera.phase === "exposing",
      filterFitted: this.#filterFitted,
    };
    if (this.history.length >= momentsMax) this.history.splice(0, momentsMax / 10);
    this.history.push(moment);
    this.#watchWhileMoving();
    for (const listener of [...this.#listeners]) listener(moment);
  }

  #watchWhileMoving(): void {
    if (this.#watch || !this.#somethingMoves()) return;
    this.#watch = this.clock.setTimer(watchSeconds, () => {
      this.#watch = undefined;
      if (this.#somethingMoves()) this.recordState();
    });
  }

  #somethingMoves(): boolean {
    const leafMoves = (leaf: Glide) => leaf.travelling && leaf.position > 0 && leaf.position < 1;
    return (
      this.mount.phase !== "still" || this.mount.jogging || leafMoves(this.cover) || leafMoves(this.diffuser)
    );
  }
}
