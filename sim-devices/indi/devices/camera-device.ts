import type { Card } from "../../../drivers/formats/fits-card.ts";
import type { RawFrame } from "../../scene/mechanics/camera.ts";
import type { FrameType } from "../../scene/sensor/frame-type.ts";
import type { World } from "../../scene/world.ts";
import { base64Bytes, encodeFrame } from "../frame-blob.ts";
import { type NumbersAsked, SimDevice, type SwitchesAsked, type TextsAsked } from "../sim-device.ts";
import { Ticker } from "../ticker.ts";
import { numberOf, putNumbers, selectedSwitch, selectSwitch } from "../vector.ts";
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
  readonly #world: World;
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
    super(name, world.clock, { driver: "camera-driver", interfaceBits: ccdInterface });
    this.#world = world;
    const v = cameraVectors(world, snooped);
    this.#v = v;
    const pollSeconds = () => numberOf(v.polling, "PERIOD_MS") / 1000;
    this.#countdown = new Ticker(
      world.clock,
      () => (world.camera.phase === "exposing" ? pollSeconds() : undefined),
      () => this.#sendSecondsLeft(),
    );
    this.#thermometer = new Ticker(
      world.clock,
      () => (world.camera.temperatureMoving ? pollSeconds() : undefined),
      () => this.#sendTemperature(),
    );
    this.onNumber(v.polling, (asked) => this.#keep(v.polling, asked), "always");
    this.onText(v.active, (asked) => this.#setActive(asked), "always");
    this.onNumber(v.exposure, (asked) => this.#expose(asked));
    this.onSwitch(v.abort, () => this.#abort());
    this.#addCooling();
    this.onNumber(v.frame, (asked) => this.#setFrame(asked));
    this.onSwitch(v.frameReset, () => this.#resetFrame());
    this.onNumber(v.binning, (asked) => this.#setBinning(asked));
    this.onNumber(v.gain, (asked) => this.#keep(v.gain, asked));
    this.onNumber(v.offset, (asked) => this.#keep(v.offset, asked));
    this.onSwitch(v.frameType, (asked) => this.#setFrameType(asked));
    for (const vector of [v.captureFormat, v.transferFormat, v.compression, v.upload]) {
      this.onSwitch(vector, (asked) => {
        this.takeSwitches(vector, asked);
        this.set(vector, "Ok");
      });
    }
    this.onText(v.fitsHeader, (asked) => this.#addCard(asked));
    this.onNumber(v.scope, (asked) => this.#keep(v.scope, asked));
    this.show(v.info);
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
  }

  protected override whenConnected(): void {
    this.#thermometer.kick();
  }

  protected override whenDisconnected(): void {
    this.#countdown.stop();
    this.#thermometer.stop();
    this.#world.camera.abort();
    this.#v.exposure.state = "Idle";
    putNumbers(this.#v.exposure, [0]);
  }

  #addCooling(): void {
    const v = this.#v;
    const { camera } = this.#world;
    if (this.#world.spec.camera.coolerCelsiusMin === undefined) {
      this.show(v.temperature);
      return;
    }
    this.onNumber(v.temperature, (asked) => {
      const wanted = asked.get("CCD_TEMPERATURE_VALUE");
      if (wanted === undefined || !this.takeNumbers(v.temperature, asked)) return;
      camera.cool(true, wanted);
      this.#showCooler();
      this.#sendTemperature();
      this.#thermometer.kick();
    });
    this.onSwitch(v.cooler, (asked) => {
      if (this.takeSwitches(v.cooler, asked)) camera.cool(selectedSwitch(v.cooler) === "COOLER_ON");
      this.#showCooler();
      this.#sendTemperature();
      this.#thermometer.kick();
    });
  }

  #showCooler(): void {
    const { coolerOn } = this.#world.camera;
    selectSwitch(this.#v.cooler, coolerOn ? "COOLER_ON" : "COOLER_OFF");
    this.set(this.#v.cooler, coolerOn ? "Busy" : "Idle");
  }

  #sendTemperature(): void {
    this.set(this.#v.temperature, this.#world.camera.temperatureMoving ? "Busy" : "Ok");
  }

  #keep(vector: Parameters<SimDevice["takeNumbers"]>[0], asked: NumbersAsked): void {
    if (!this.takeNumbers(vector, asked)) return;
    const { settings } = this.#world.camera;
    settings.gain = numberOf(this.#v.gain, "GAIN");
    settings.offset = numberOf(this.#v.offset, "OFFSET");
    this.set(vector, "Ok");
  }

  #setActive(asked: TextsAsked): void {
    for (const element of this.#v.active.elements) element.value = asked.get(element.name) ?? element.value;
    this.set(this.#v.active, "Ok");
    this.onActiveChanged(Object.fromEntries(this.#v.active.elements.map((e) => [e.name, e.value])));
  }

  #setFrame(asked: NumbersAsked): void {
    const v = this.#v.frame;
    const [x, y, width, height] = ["X", "Y", "WIDTH", "HEIGHT"].map((name) =>
      Math.trunc(asked.get(name) ?? -1),
    );
    const sensor = this.#world.spec.camera;
    const fits =
      x! >= 0 &&
      y! >= 0 &&
      width! >= 1 &&
      height! >= 1 &&
      x! + width! <= sensor.widthPx &&
      y! + height! <= sensor.heightPx;
    if (!fits) {
      this.message("ERROR", `Invalid frame requested (${x},${y}) (${width} x ${height})`);
      this.set(v, "Alert");
      return;
    }
    putNumbers(v, [x!, y!, width!, height!]);
    this.set(v); // the library's base class reports once with the old state
    Object.assign(this.#world.camera.settings.region, { xPx: x, yPx: y, widthPx: width, heightPx: height });
    this.set(v, "Ok");
  }

  #resetFrame(): void {
    const { widthPx, heightPx } = this.#world.spec.camera;
    Object.assign(this.#world.camera.settings.region, { xPx: 0, yPx: 0, widthPx, heightPx });
    putNumbers(this.#v.frame, [0, 0, widthPx, heightPx]);
    this.set(this.#v.frameReset, "Idle");
    this.set(this.#v.frame);
  }

  #setBinning(asked: NumbersAsked): void {
    const v = this.#v.binning;
    const [x, y] = [asked.get("HOR_BIN"), asked.get("VER_BIN")];
    const max = this.#world.spec.camera.binningMax;
    if (x === undefined || x !== y || !Number.isInteger(x) || x < 1 || x > max) {
      this.message("ERROR", `Binning ${x} x ${y} is not supported; 1 x 1 to ${max} x ${max} are.`);
      this.set(v, "Alert");
      return;
    }
    putNumbers(v, [x, x]);
    this.set(v);
    this.#world.camera.settings.binning = x;
    this.set(v, "Ok");
  }

  #setFrameType(asked: SwitchesAsked): void {
    const v = this.#v.frameType;
    if (this.takeSwitches(v, asked))
      this.#world.camera.settings.frameType = frameTypes[selectedSwitch(v) ?? ""] ?? "light";
    this.set(v, "Ok");
  }

  #addCard(asked: TextsAsked): void {
    const keyword = (asked.get("KEYWORD_NAME") ?? "").toUpperCase();
    const value = asked.get("KEYWORD_VALUE") ?? "";
    const comment = asked.get("KEYWORD_COMMENT") ?? "";
    if (!/^[A-Z0-9_-]{1,8}$/.test(keyword)) {
      this.set(this.#v.fitsHeader, "Alert");
      return;
    }
    if (value === "") this.#extraCards.delete(keyword);
    else this.#extraCards.set(keyword, { keyword, value, comment });
    this.set(this.#v.fitsHeader, "Ok");
  }

  #expose(asked: NumbersAsked): void {
    const v = this.#v.exposure;
    const { exposureSecondsMin: min, exposureSecondsMax: max } = this.#world.spec.camera;
    const { camera } = this.#world;
    let seconds = asked.get("CCD_EXPOSURE_VALUE") ?? Number.NaN;
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
    if (this.#world.camera.phase === "exposing") this.set(this.#v.exposure, "Busy");
  }

  #abort(): void {
    this.#countdown.stop();
    this.#world.camera.abort();
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
    const nowUtcMs = this.clock.nowMs();
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
    const world = this.#world;
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
      extra: [...this.#extraCards.values()],
    };
  }
}
