import type { RawFrame } from "../../scene/mechanics/camera.ts";
import { electronsPerCode, wordsPerCode, wordTable } from "../../scene/sensor-words.ts";
import type { World } from "../../scene/world.ts";
import { invalidOperation, invalidValue } from "../ascom-error.ts";
import type { HeldImage } from "../image.ts";
import { type DeviceOptions, type Identity, SimAlpacaDevice } from "../sim-alpaca-device.ts";
import { type ControlScale, scaleByIndex, scaleByValue } from "./camera-control.ts";
import { CameraFrame } from "./camera-frame.ts";

export interface CameraDeviceOptions extends DeviceOptions {
  /** Whether gain is given as a value or as the index into a list. */
  readonly gainBy: "value" | "index";
}

const cameraState = { idle: 0, exposing: 2, reading: 3 } as const;
const monochrome = 0;

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
    const { spec } = world;
    this.#addSensor();
    this.#addFrame();
    const { gainMax, offsetMax } = spec.camera;
    const gainScale =
      options.gainBy === "value"
        ? scaleByValue("gain", gainMax)
        : scaleByIndex("gain", gainMax, spec.startsWith.gain);
    this.#addControl("gain", "Gain", gainScale);
    this.#addControl("offset", "Offset", scaleByValue("offset", offsetMax));
    this.#addCooler();
    this.#addExposure();
    this.#addReadoutModes();
  }

  protected override whenDisconnected(): void {
    this.world.camera.abort();
    this.#image = undefined;
    this.#last = undefined;
  }

  #addSensor(): void {
    const { camera } = this.world.spec;
    const words = wordTable(camera);
    const facts: Readonly<Record<string, unknown>> = {
      cameraxsize: camera.widthPx,
      cameraysize: camera.heightPx,
      pixelsizex: camera.pixelMicron,
      pixelsizey: camera.pixelMicron,
      sensortype: monochrome,
      sensorname: "",
      maxadu: words.at(-1),
      maxbinx: camera.binningMax,
      maxbiny: camera.binningMax,
      canasymmetricbin: false,
      exposuremin: camera.exposureSecondsMin,
      exposuremax: camera.exposureSecondsMax,
      exposureresolution: 0,
      hasshutter: false,
      canabortexposure: true,
      canstopexposure: false,
      canpulseguide: false,
      canfastreadout: false,
    };
    for (const [name, value] of Object.entries(facts)) this.reads(name, () => value);
    this.lacks("bayeroffsetx", "bayeroffsety", "ispulseguiding", "fastreadout", "subexposureduration");
    this.lacksWrite("fastreadout", { FastReadout: "boolean" });
    this.lacksWrite("subexposureduration", { SubExposureDuration: "number" });
    this.lacksWrite("pulseguide", { Direction: "int", Duration: "int" });
    const electronsPerAdu = () =>
      electronsPerCode(camera, this.world.camera.settings.gain) / wordsPerCode(camera);
    this.reads("electronsperadu", electronsPerAdu);
    this.reads("fullwellcapacity", () =>
      Math.min(camera.fullWellElectrons, electronsPerAdu() * (words.at(-1) ?? 0)),
    );
  }

  /** The bins are as the camera keeps them, also over a disconnecting: it has not been switched off. */
  #addFrame(): void {
    const frame = this.#frame;
    const { binningMax } = this.world.spec.camera;
    const checkBin = (bin: number) => {
      if (bin < 1 || bin > binningMax)
        throw invalidValue(`a binning of ${bin} is outside 1 to ${binningMax}`);
    };
    const bin = (value: number) => {
      checkBin(value);
      frame.change({ binX: value, binY: value }); // asymmetric bins are not possible, so the other one follows
    };
    this.reads("binx", () => frame.now.binX);
    this.reads("biny", () => frame.now.binY);
    this.writes("binx", { BinX: "int" }, ({ BinX }) => bin(BinX));
    this.writes("biny", { BinY: "int" }, ({ BinY }) => bin(BinY));
    this.reads("startx", () => frame.now.startX);
    this.reads("starty", () => frame.now.startY);
    this.reads("numx", () => frame.now.numX);
    this.reads("numy", () => frame.now.numY);
    this.writes("startx", { StartX: "int" }, ({ StartX }) => frame.change({ startX: StartX }));
    this.writes("starty", { StartY: "int" }, ({ StartY }) => frame.change({ startY: StartY }));
    this.writes("numx", { NumX: "int" }, ({ NumX }) => frame.change({ numX: NumX }));
    this.writes("numy", { NumY: "int" }, ({ NumY }) => frame.change({ numY: NumY }));
  }

  /** By value there is a range and no list, by index a list and no range: never both. */
  #addControl(name: "gain" | "offset", parameter: "Gain" | "Offset", scale: ControlScale): void {
    const { settings } = this.world.camera;
    this.reads(name, () => scale.toWire(settings[name]));
    this.writes(name, { [parameter]: "int" }, (given) => {
      settings[name] = scale.fromWire(given[parameter] as number);
    });
    if (scale.names === undefined) {
      this.reads(`${name}min`, () => scale.min);
      this.reads(`${name}max`, () => scale.max);
      this.lacks(`${name}s`);
    } else {
      this.lacks(`${name}min`, `${name}max`);
      this.reads(`${name}s`, () => scale.names);
    }
  }

  #addCooler(): void {
    const { camera, spec } = this.world;
    const { coolerCelsiusMin, ambientCelsius } = spec.camera;
    this.reads("ccdtemperature", () => camera.sensorCelsius);
    this.lacks("heatsinktemperature");
    const hasCooler = coolerCelsiusMin !== undefined;
    this.reads("cansetccdtemperature", () => hasCooler);
    this.reads("cangetcoolerpower", () => hasCooler);
    if (!hasCooler) {
      this.lacks("cooleron", "setccdtemperature", "coolerpower");
      this.lacksWrite("cooleron", { CoolerOn: "boolean" });
      this.lacksWrite("setccdtemperature", { SetCCDTemperature: "number" });
      return;
    }
    this.reads("cooleron", () => camera.coolerOn);
    this.writes("cooleron", { CoolerOn: "boolean" }, ({ CoolerOn }) => camera.cool(CoolerOn));
    this.reads("setccdtemperature", () => camera.coolerCelsius);
    this.writes("setccdtemperature", { SetCCDTemperature: "number" }, ({ SetCCDTemperature: celsius }) => {
      if (!(celsius >= -100 && celsius <= 50)) {
        throw invalidValue(`a sensor temperature of ${celsius} degrees is outside -100 to 50`);
      }
      if (camera.coolerOn) camera.cool(true, celsius);
      else camera.coolerCelsius = celsius; // for when it is switched on
    });
    this.reads("coolerpower", () => {
      if (!camera.coolerOn) return 0;
      const percent = (100 * (ambientCelsius - camera.sensorCelsius)) / (ambientCelsius - coolerCelsiusMin);
      return Math.max(0, Math.min(100, percent));
    });
  }

  #addExposure(): void {
    const { camera } = this.world;
    this.writes("startexposure", { Duration: "number", Light: "boolean" }, (given) =>
      this.#expose(given.Duration, given.Light),
    );
    this.writes("abortexposure", {}, () => camera.abort());
    this.lacksWrite("stopexposure");
    this.reads("camerastate", () =>
      camera.phase === "idle"
        ? cameraState.idle
        : camera.phase === "exposing"
          ? cameraState.exposing
          : cameraState.reading,
    );
    this.reads("imageready", () => this.#image !== undefined);
    this.reads("percentcompleted", () => {
      if (camera.phase === "idle") throw invalidOperation("no exposure is under way");
      const done = this.#exposureSeconds > 0 ? 1 - camera.secondsLeft / this.#exposureSeconds : 1;
      return Math.floor(100 * Math.max(0, Math.min(1, done)));
    });
    const last = () => {
      if (!this.#last) throw invalidOperation("there has been no exposure yet");
      return this.#last;
    };
    this.reads("lastexposureduration", () => last().seconds);
    this.reads("lastexposurestarttime", () => fitsTime(last().startedUtcMs));
    this.reads("imagearray", () => {
      if (!this.#image) throw invalidOperation("there is no image");
      return this.#image;
    });
    this.lacks("imagearrayvariant");
  }

  #addReadoutModes(): void {
    this.reads("readoutmodes", () => ["Normal"]);
    this.reads("readoutmode", () => 0);
    this.writes("readoutmode", { ReadoutMode: "int" }, ({ ReadoutMode }) => {
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
