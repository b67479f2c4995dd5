import type { RawFrame } from "../../scene/mechanics/camera.ts";
import type { World } from "../../scene/world.ts";
import { checkedNumber, invalidOperation, invalidValue } from "../ascom-error.ts";
import type { HeldImage } from "../image.ts";
import { type DeviceOptions, type Identity, SimAlpacaDevice } from "../sim-alpaca-device.ts";
import { addControl, scaleByIndex, scaleByValue } from "./camera-control.ts";
import { addCooler } from "./camera-cooler.ts";
import { addFrame, CameraFrame } from "./camera-frame.ts";
import { addSensor } from "./camera-sensor.ts";

const cameraState = { idle: 0, exposing: 2, readingOut: 3 } as const;

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

  constructor(identity: Identity, world: World, options: DeviceOptions) {
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
    this.members.reads("camerastate", () => cameraState[camera.phase]);
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
    this.members.setting("ReadoutMode", "int", {
      read: () => 0,
      write: (mode) => checkedNumber("readout mode", mode, 0, 0),
    });
  }

  /** There is no shutter, so a dark exposure differs only in how short it may be. */
  #expose(seconds: number, light: boolean): void {
    const { camera, spec } = this.world;
    const { exposureSecondsMin: min, exposureSecondsMax: max } = spec.camera;
    checkedNumber("an exposure [s] of", seconds, light ? min : 0, max);
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
