import type { Card } from "../../../drivers/formats/fits-card.ts";
import type { RawFrame } from "../../scene/mechanics/camera.ts";
import type { FrameType } from "../../scene/painter-contract.ts";
import type { World } from "../../scene/world.ts";
import { base64Bytes, encodeFrame } from "../frame-blob.ts";
import { type NewValues, SimDevice } from "../sim-device.ts";
import { Ticker } from "../ticker.ts";
import { numberOf, putNumbers, selectedSwitch, selectSwitch, type TextVector } from "../vector.ts";
import { blobEnvelope } from "../vector-xml.ts";
import { cameraVectors, wordBits } from "./camera-vectors.ts";

const ccdInterface = 2;

const frameTypes: Readonly<Record<string, FrameType>> = {
  FRAME_LIGHT: "light",
  FRAME_BIAS: "bias",
  FRAME_DARK: "dark",
  FRAME_FLAT: "flat",
};

/** The scene's camera as an INDI device. */
export class CameraDevice extends SimDevice {
  readonly #v: ReturnType<typeof cameraVectors>;
  readonly #countdown: Ticker;
  readonly #thermometer: Ticker;
  readonly #extraCards = new Map<string, Card>();
  protected override readonly volatile = new Set(["CCD_EXPOSURE", "CCD_TEMPERATURE"]);

  constructor(
    name: string,
    world: World,
    /** ACTIVE_* → device name. */
    snooped: Readonly<Record<string, string>>,
    readonly onActiveChanged: (active: Readonly<Record<string, string>>) => void = () => {},
  ) {
    super(name, world, { driver: "camera-driver", interfaceBits: ccdInterface });
    const v = cameraVectors(world, snooped);
    this.#v = v;
    const pollSeconds = () => numberOf(v.polling, "PERIOD_MS") / 1000;
    this.#countdown = new Ticker(
      world.clock,
      () => (world.camera.phase === "exposing" ? pollSeconds() : undefined),
      () => this.#sendSecondsLeft(),
    );
    this.#thermometer = this.poll(
      () => (world.camera.temperatureMoving ? pollSeconds() : undefined),
      () => this.#sendTemperature(),
    );
    const { settings } = world.camera;
    this.keep(v.polling, undefined, "always");
    this.keep(v.active, () => this.onActiveChanged(activeDevices(v.active)), "always");
    this.on(v.exposure, (values) => this.#expose(values));
    this.on(v.abort, () => this.#abort());
    this.#addCooling();
    this.on(v.frame, (values) => this.#setFrame(values));
    this.on(v.frameReset, () => this.#resetFrame());
    this.on(v.binning, (values) => this.#setBinning(values));
    this.keep(v.gain, () => {
      settings.gain = numberOf(v.gain, "GAIN");
    });
    this.keep(v.offset, () => {
      settings.offset = numberOf(v.offset, "OFFSET");
    });
    this.keep(v.frameType, () => {
      settings.frameType = frameTypes[selectedSwitch(v.frameType) ?? ""] ?? "light";
    });
    for (const vector of [v.captureFormat, v.transferFormat, v.compression, v.upload]) this.keep(vector);
    this.on(v.fitsHeader, (values) => this.#addCard(values));
    this.keep(v.scope);
    this.show(v.info);
    if (world.spec.camera.mosaic) this.show(v.filterArray);
    this.show(v.image);
    // A client that asks in mid-exposure sees the time left.
    v.exposure.refresh = () => {
      if (world.camera.phase === "exposing") putNumbers(v.exposure, [world.camera.secondsLeft]);
    };
    world.listen(({ part, what }) => {
      if (part !== "camera" || what !== "readoutStarted" || !this.connected) return;
      this.#countdown.stop();
      putNumbers(v.exposure, [0]);
      this.set(v.exposure, "Busy"); // no time left, and no image yet
    });
    v.temperature.refresh = () => putNumbers(v.temperature, [world.camera.sensorCelsius]);
    this.whenDisconnected(() => {
      this.#countdown.stop();
      world.camera.abort();
      v.exposure.state = "Idle";
      putNumbers(v.exposure, [0]);
    });
  }

  #addCooling(): void {
    const v = this.#v;
    const { camera } = this.world;
    if (this.world.spec.camera.coolerCelsiusMin === undefined) {
      this.show(v.temperature);
      return;
    }
    const showCooling = () => {
      selectSwitch(v.cooler, camera.coolerOn ? "COOLER_ON" : "COOLER_OFF");
      this.set(v.cooler, camera.coolerOn ? "Busy" : "Idle");
      this.#sendTemperature();
      this.#thermometer.kick();
    };
    this.on(v.temperature, (values) => {
      const wanted = values.get("CCD_TEMPERATURE_VALUE");
      if (wanted === undefined || !this.takeNumbers(v.temperature, values)) return;
      camera.cool(true, wanted);
      showCooling();
    });
    this.on(v.cooler, (values) => {
      if (this.takeSettings(v.cooler, values)) camera.cool(selectedSwitch(v.cooler) === "COOLER_ON");
      showCooling();
    });
  }

  #sendTemperature(): void {
    this.set(this.#v.temperature, this.world.camera.temperatureMoving ? "Busy" : "Ok");
  }

  #setFrame(values: NewValues<number>): void {
    const v = this.#v.frame;
    const [x, y, width, height] = ["X", "Y", "WIDTH", "HEIGHT"].map((name) =>
      Math.trunc(values.get(name) ?? -1),
    ) as [number, number, number, number];
    const { widthPx, heightPx } = this.world.spec.camera;
    if (!(x >= 0 && y >= 0 && width >= 1 && height >= 1 && x + width <= widthPx && y + height <= heightPx)) {
      this.message("ERROR", `Invalid frame requested (${x},${y}) (${width} x ${height})`);
      this.set(v, "Alert");
      return;
    }
    putNumbers(v, [x, y, width, height]);
    this.set(v); // the library's base class reports once with the old state
    Object.assign(this.world.camera.settings.region, { xPx: x, yPx: y, widthPx: width, heightPx: height });
    this.set(v, "Ok");
  }

  #resetFrame(): void {
    const { widthPx, heightPx } = this.world.spec.camera;
    Object.assign(this.world.camera.settings.region, { xPx: 0, yPx: 0, widthPx, heightPx });
    putNumbers(this.#v.frame, [0, 0, widthPx, heightPx]);
    this.set(this.#v.frameReset, "Idle");
    this.set(this.#v.frame);
  }

  #setBinning(values: NewValues<number>): void {
    const v = this.#v.binning;
    const [x, y] = [values.get("HOR_BIN"), values.get("VER_BIN")];
    const max = this.world.spec.camera.binningMax;
    if (x === undefined || x !== y || !Number.isInteger(x) || x < 1 || x > max) {
      this.message("ERROR", `Binning ${x} x ${y} is not supported; 1 x 1 to ${max} x ${max} are.`);
      this.set(v, "Alert");
      return;
    }
    putNumbers(v, [x, x]);
    this.set(v);
    this.world.camera.settings.binning = x;
    this.set(v, "Ok");
  }

  #addCard(values: NewValues<string>): void {
    const keyword = (values.get("KEYWORD_NAME") ?? "").toUpperCase();
    const value = values.get("KEYWORD_VALUE") ?? "";
    const comment = values.get("KEYWORD_COMMENT") ?? "";
    if (!/^[A-Z0-9_-]{1,8}$/.test(keyword)) {
      this.set(this.#v.fitsHeader, "Alert");
      return;
    }
    if (value === "") this.#extraCards.delete(keyword);
    else this.#extraCards.set(keyword, { keyword, value, comment });
    this.set(this.#v.fitsHeader, "Ok");
  }

  #expose(values: NewValues<number>): void {
    const v = this.#v.exposure;
    const { exposureSecondsMin: min, exposureSecondsMax: max } = this.world.spec.camera;
    const { camera } = this.world;
    let seconds = values.get("CCD_EXPOSURE_VALUE") ?? Number.NaN;
    if (!(seconds >= min && seconds <= max)) {
      this.message("ERROR", `Requested exposure value (${seconds}) seconds out of bounds [${min},${max}].`);
      putNumbers(v, [0]);
      this.set(v, "Alert");
      return;
    }
    if (camera.settings.frameType === "bias") seconds = min;
    camera.expose(seconds, (frame) => this.#finish(frame));
    putNumbers(v, [seconds]);
    this.set(v, "Busy");
    this.#countdown.kick();
  }

  #sendSecondsLeft(): void {
    if (this.world.camera.phase === "exposing") this.set(this.#v.exposure, "Busy");
  }

  #abort(): void {
    this.#countdown.stop();
    this.world.camera.abort();
    this.set(this.#v.abort, "Ok");
    putNumbers(this.#v.exposure, [0]);
    this.set(this.#v.exposure, "Idle");
  }

  #finish(frame: RawFrame): void {
    const v = this.#v;
    if (selectedSwitch(v.upload) === "UPLOAD_LOCAL")
      this.message("WARNING", "This camera has no disk of its own; the image is dropped.");
    else this.#sendImage(frame);
    this.set(v.exposure, "Ok");
  }

  #sendImage(frame: RawFrame): void {
    const v = this.#v;
    const nowUtcMs = this.world.clock.nowMs();
    const encoded = encodeFrame(frame, this.#facts(), {
      transfer: selectedSwitch(v.transferFormat) === "FORMAT_NATIVE" ? "native" : "fits",
      compress: selectedSwitch(v.compression) === "INDI_ENABLED",
      nowUtcMs,
    });
    const { before, after } = blobEnvelope(this.name, {
      vector: "CCD1",
      element: "CCD1",
      format: encoded.format,
      size: encoded.size,
      length: encoded.payload.length,
      utcMs: nowUtcMs,
    });
    this.sendBlob("CCD1", [before, base64Bytes(encoded.payload), after]);
  }

  #facts() {
    const world = this.world;
    const { camera } = world.spec;
    const known = world.reportedState();
    const slot = known.wheelSlot === undefined ? undefined : world.spec.rig.slots[known.wheelSlot - 1];
    return {
      camera: this.name,
      telescope: this.#v.active.elements.find((e) => e.name === "ACTIVE_TELESCOPE")?.value,
      pixelMicron: camera.pixelMicron,
      bits: wordBits(camera),
      focalLengthMm: numberOf(this.#v.scope, "FOCAL_LENGTH"),
      apertureMm: numberOf(this.#v.scope, "APERTURE"),
      filterName: slot?.name,
      focusSteps: known.focusSteps,
      rotatorDegrees: known.rotatorDegrees,
      site: known.site,
      pointing: known.pointing,
      filterArray: camera.mosaic?.pattern,
      extra: [...this.#extraCards.values()],
    };
  }
}

function activeDevices({ elements }: TextVector): Record<string, string> {
  return Object.fromEntries(elements.map((e) => [e.name, e.value]));
}
