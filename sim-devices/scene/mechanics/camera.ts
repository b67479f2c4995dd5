import type { Clock, ClockTimer } from "../../../drivers/kit/clock.ts";
import type { ExposureAsk, FrameType, LightPath, Region } from "../painter-contract.ts";
import type { SceneSpec } from "../spec/scene-spec.ts";
import { Glide } from "./glide.ts";

export type CameraPhase = "idle" | "exposing" | "readingOut";
export type CameraNews =
  | "exposureStarted"
  | "exposureOverlapped"
  | "readoutStarted"
  | "frameReady"
  | "exposureAborted"
  | "cooling";

export interface CameraSettings {
  gain: number;
  offset: number;
  binning: number;
  region: Region;
  frameType: FrameType;
}

/** A frame as the sensor gives it, with what was in force. */
export interface RawFrame {
  readonly pixelsAdu: Uint16Array;
  readonly widthPx: number;
  readonly heightPx: number;
  readonly ask: ExposureAsk;
  readonly light: LightPath;
  readonly startedUtcMs: number;
}

/** What of the light path can be seen at one moment; the picture needs its start, middle and end. */
export type LightPathNow = Omit<LightPath, "smearEastArcsec" | "smearNorthArcsec">;

export interface CameraOptions {
  readonly clock: Clock;
  readonly spec: SceneSpec["camera"];
  readonly startsWith: SceneSpec["startsWith"];
  readonly coolerDegreesPerSecond: number;
  readonly glimpse: () => LightPathNow;
  readonly paint: (light: LightPath, ask: ExposureAsk) => Uint16Array;
  readonly note: (what: CameraNews, detail?: string) => void;
}

/** The camera's timing and settings. Pixels come from the painter, at the end of the exposure. */
export class CameraMechanics {
  readonly #o: CameraOptions;
  readonly #sensor: Glide;
  #phase: CameraPhase = "idle";
  #timers: ClockTimer[] = [];
  #endsMs = 0;
  #frameNumber = 0;
  #pretends: CameraSettings | undefined;
  #cropTo: number | undefined;
  readonly settings: CameraSettings;
  coolerOn: boolean;
  coolerCelsius: number;
  /** Fault: the next exposures never end. */
  stuckBusy = false;

  constructor(options: CameraOptions) {
    this.#o = options;
    const { startsWith, spec } = options;
    this.settings = {
      gain: startsWith.gain,
      offset: startsWith.offset,
      binning: startsWith.binning,
      region: { ...startsWith.region },
      frameType: "light",
    };
    this.coolerOn = startsWith.coolerOn && spec.coolerCelsiusMin !== undefined;
    this.coolerCelsius = startsWith.coolerCelsius;
    this.#sensor = new Glide({
      clock: options.clock,
      position: this.coolerOn ? startsWith.coolerCelsius : spec.ambientCelsius,
      unitsPerSecond: options.coolerDegreesPerSecond,
      note: (what) => options.note("cooling", what),
    });
  }

  get phase(): CameraPhase {
    return this.#phase;
  }
  get secondsLeft(): number {
    return this.#phase === "exposing" ? Math.max(0, (this.#endsMs - this.#o.clock.nowMs()) / 1000) : 0;
  }
  get sensorCelsius(): number {
    return this.#sensor.position;
  }
  get temperatureMoving(): boolean {
    return this.#sensor.moving;
  }

  /** The settings that the sensor obeys; only a lying camera's differ from `settings`. */
  get inForce(): CameraSettings {
    return this.#pretends ?? this.settings;
  }

  /** Fault: settings are taken and read back, and change nothing. */
  pretend(on: boolean): void {
    this.#pretends = on ? structuredClone(this.settings) : undefined;
  }

  /** Fault: the next frames show only that much of the region, from its corner [0 … 1 of either side]. */
  cropTo(fraction: number | undefined): void {
    this.#cropTo = fraction;
  }

  cool(on: boolean, celsius = this.coolerCelsius): void {
    if (on && this.#o.spec.coolerCelsiusMin !== undefined) this.coolerCelsius = celsius;
    this.coolerOn = on && this.#o.spec.coolerCelsiusMin !== undefined;
    const target = this.coolerOn
      ? Math.max(celsius, this.#o.spec.coolerCelsiusMin ?? celsius)
      : this.#o.spec.ambientCelsius;
    if (target === this.#sensor.target && !this.#sensor.moving) return;
    this.#sensor.moveTo(target);
  }

  /**
   * Starts an exposure with the settings of now; one under way is dropped. `done` gets the frame after the read-out.
   */
  expose(seconds: number, done: (frame: RawFrame) => void): void {
    const { clock, spec } = this.#o;
    const overlapped = this.#phase !== "idle";
    this.#drop();
    const startedUtcMs = clock.nowMs();
    const start = this.#o.glimpse();
    const settings = structuredClone(this.inForce);
    if (this.#cropTo !== undefined) settings.region = cropped(settings, this.#cropTo);
    const { binning, region } = settings;
    let middle = start;
    this.#phase = "exposing";
    this.#endsMs = startedUtcMs + seconds * 1000;
    this.#o.note(overlapped ? "exposureOverlapped" : "exposureStarted", `${seconds} s`);
    if (this.stuckBusy) return;
    this.#after(seconds / 2, () => {
      middle = this.#o.glimpse();
    });
    this.#after(seconds, () => {
      const end = this.#o.glimpse();
      const light: LightPath = {
        ...middle,
        smearEastArcsec: end.sunEastArcsec - start.sunEastArcsec,
        smearNorthArcsec: end.sunNorthArcsec - start.sunNorthArcsec,
      };
      const { sensorCelsius } = this;
      const ask: ExposureAsk = { ...settings, seconds, sensorCelsius, frameNumber: this.#frameNumber++ };
      this.#phase = "readingOut";
      this.#o.note("readoutStarted");
      this.#after(spec.readoutSeconds, () => {
        const pixelsAdu = this.#o.paint(light, ask);
        this.#drop();
        this.#o.note("frameReady");
        done({
          pixelsAdu,
          widthPx: Math.floor(region.widthPx / binning),
          heightPx: Math.floor(region.heightPx / binning),
          ask,
          light,
          startedUtcMs,
        });
      });
    });
  }

  abort(): void {
    if (this.#phase === "idle") return;
    this.#drop();
    this.#o.note("exposureAborted");
  }

  /** The world ends: no timer is left. */
  close(): void {
    this.#drop();
    this.#sensor.close();
  }

  #after(seconds: number, callback: () => void): void {
    this.#timers.push(this.#o.clock.setTimer(seconds, callback));
  }

  #drop(): void {
    for (const timer of this.#timers) timer.cancel();
    this.#timers = [];
    this.#phase = "idle";
  }
}

function cropped({ region, binning }: CameraSettings, fraction: number): Region {
  const part = (px: number) => Math.max(binning, Math.floor((px * fraction) / binning) * binning);
  return { ...region, widthPx: part(region.widthPx), heightPx: part(region.heightPx) };
}
