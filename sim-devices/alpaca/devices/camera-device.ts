import type { RawFrame } from "../../scene/mechanics/camera.ts";
import type { World } from "../../scene/world.ts";
import { invalidOperation, invalidValue } from "../ascom-error.ts";
import type { HeldImage } from "../image.ts";
import { type DeviceOptions, type Identity, SimAlpacaDevice } from "../sim-alpaca-device.ts";
import { addControl, scaleByIndex, scaleByValue } from "./camera-control.ts";
import { addCooler } from "./camera-cooler.ts";
import { addFrame, CameraFrame } from "./camera-frame.ts";
import { addSensor } from "./camera-sensor.ts";

export interface CameraDeviceOptions extends DeviceOptions {
  /** Whether gain is given as a value or as the index into a list. */
  readonly gainBy: "value" | "index";
}

const cameraState = { idle: 0, exposing: 2, reading: 3 } as const;

/** The scene's camera: monochrome, square bins, no shutter, a cooler if the scene has one. */
export class CameraDevice extends SimAlpacaDevice {
  protected override readonly stateNames = [
    "CameraState",
    "CCDTemperature",
    "CoolerPower",
    "HeatSinkTemperature",
    "ImageReady",
    "IsPulseGuiding",
    "PercentCompleted",
  ];
  readonly #frame: CameraFrame;
  #image: HeldImage | undefined;
  #last: { readonly seconds: number; readonly startedUtcMs: number } | undefined;
  #exposureSeconds = 0;

  constructor(identity: Identity, world: World, options: CameraDeviceOptions) {
    super(identity, world, options, "Simulated monochrome camera");
    this.#frame = new CameraFrame(world);
    const { members } = this;
    const { camera, startsWith } = world.spec;
    const { settings } = world.camera;
    addSensor(members, world);
    addFrame(members, this.#frame, camera.binningMax);
    const gainScale =
      options.gainBy === "value"
        ? scaleByValue("gain", camera.gainMax)
        : scaleByIndex("gain", camera.gainMax, startsWith.gain);
    addControl(members, settings, "gain", gainScale);
    addControl(members, settings, "offset", scaleByValue("offset", camera.offsetMax));
    addCooler(members, world);
    this.#addExposure();
    this.#addReadoutModes();
  }

  protected override whenDisconnected(): void {
    this.world.camera.abort();
    this.#image = undefined;
    this.#last = undefined;
  }

  #addExposure(): void {
    const { camera } = this.world;
    this.members.writes("startexposure", { Duration: "number", Light: "boolean" }, (given) =>
      this.#expose(given.Duration, given.Light),
    );
    this.members.writes("abortexposure", {}, () => camera.abort());
    this.members.lacksWrite("stopexposure");
    this.members.reads("camerastate", () =>
      camera.phase === "idle"
        ? cameraState.idle
        : camera.phase === "exposing"
          ? cameraState.exposing
          : cameraState.reading,
    );
    this.members.reads("imageready", () => this.#image !== undefined);
    this.members.reads("percentcompleted", () => {
      if (camera.phase === "idle") throw invalidOperation("no exposure is under way");
      const done = this.#exposureSeconds > 0 ? 1 - camera.secondsLeft / this.#exposureSeconds : 1;
      return Math.floor(100 * Math.max(0, Math.min(1, done)));
    });
    const last = () => {
      if (!this.#last) throw invalidOperation("there has been no exposure yet");
      return this.#last;
    };
    this.members.reads("lastexposureduration", () => last().seconds);
    this.members.reads("lastexposurestarttime", () => fitsTime(last().startedUtcMs));
    this.members.reads("imagearray", () => {
      if (!this.#image) throw invalidOperation("there is no image");
      return this.#image;
    });
    this.members.lacks("imagearrayvariant");
  }

  #addReadoutModes(): void {
    this.members.reads("readoutmodes", () => ["Normal"]);
    this.members.reads("readoutmode", () => 0);
    this.members.writes("readoutmode", { ReadoutMode: "int" }, ({ ReadoutMode }) => {
      if (ReadoutMode !== 0) throw invalidValue(`there is no readout mode ${ReadoutMode}`);
    });
  }

  /** There is no shutter, so a dark exposure differs only in how short it may be. */
  #expose(seconds: number, light: boolean): void {
    const { camera, spec } = this.world;
    const { exposureSecondsMin: min, exposureSecondsMax: max } = spec.camera;
    if (!(seconds >= (light ? min : 0) && seconds <= max)) {
      throw invalidValue(`an exposure of ${seconds} s is outside ${light ? min : 0} to ${max} s`);
    }
    const problem = this.#frame.whyImpossible();
    if (problem !== undefined) throw invalidValue(problem);
    if (camera.phase !== "idle") throw invalidOperation("an exposure is under way");
    this.#image = undefined;
    this.#exposureSeconds = Math.max(min, seconds);
    camera.expose(this.#exposureSeconds, (frame) => this.#keep(frame));
  }

  #keep(frame: RawFrame): void {
    this.#image = frame;
    this.#last = { seconds: frame.ask.seconds, startedUtcMs: frame.startedUtcMs };
  }
}

/** As FITS writes it, UTC without saying so. */
function fitsTime(utcMs: number): string {
  return new Date(utcMs).toISOString().replace("Z", "");
}
