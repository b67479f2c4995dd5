import {
  DeadlineError,
  DeviceLostError,
  MissingAbilityError,
  OutOfLimitsError,
  ReadbackError,
} from "../kit/errors.ts";
import type { CameraSetup, CooledCamera, Frame, FrameType } from "../roles/camera.ts";
import type { Range, Setting } from "../roles/device.ts";
import type { IndiBlob } from "./blob.ts";
import { checkSetup, regionOf, setBinning, setControl, setRegion } from "./camera-configure.ts";
import { findControl, type NumberPlace, rangeOf } from "./camera-controls.ts";
import { canHold, hasThermometer, holdCelsius, readCelsius, temperatureLimits } from "./camera-cooler.ts";
import { exposeOnce, exposureProperty } from "./camera-exposure.ts";
import { cameraSettings } from "./camera-settings.ts";
import { stopExposing } from "./camera-stop.ts";
import { prepareTransport } from "./camera-transport.ts";
import { BlobError } from "./errors.ts";
import { FrameCheck } from "./frame-check.ts";
import { frameFromBlob, type ReceivedFrame, UnreadableFrameError } from "./frame-from-blob.ts";
import { ensureValues, type KeptSetting } from "./kept-setting.ts";
import { limitsOf, numberIn } from "./property.ts";
import { IndiRole, type RoleContext } from "./role-device.ts";

/** What the rig file may say of a camera. */
export interface CameraOptions {
  /** `PROPERTY.ELEMENT` where the driver keeps the gain, if it cannot be found by itself. */
  readonly gainProperty?: string;
  readonly offsetProperty?: string;
  readonly captureFormat?: string;
  /** Highest code of a pixel word, if the driver's own account is wrong. */
  readonly fullScaleAdu?: number;
  /** Longest time from the end of an exposure to its last byte here [s]. Default 30. */
  readonly readoutSeconds?: number;
  /** The property that delivers the images. Default CCD1. */
  readonly imageProperty?: string;
}

/** How images come: asked for once, and whether their order among the states is certain. */
export interface ImageRoute {
  enable(property: string): Promise<void>;
  readonly ordered: boolean;
}

const frameTypeElements: Readonly<Record<FrameType, string>> = {
  light: "FRAME_LIGHT",
  dark: "FRAME_DARK",
  bias: "FRAME_BIAS",
  flat: "FRAME_FLAT",
};
/** First try, once more after an abort, once more after disconnecting and connecting. */
const attemptsMax = 3;

export class IndiCamera extends IndiRole implements CooledCamera {
  override readonly role = "camera";
  protected override readonly mainProperty = exposureProperty;
  protected override readonly requiredProperties: readonly string[];
  readonly #options: CameraOptions;
  readonly #route: ImageRoute;
  readonly #imageProperty: string;
  readonly #check = new FrameCheck();
  #isPrepared = false;
  #setup: CameraSetup = {};

  constructor(context: RoleContext, route: ImageRoute, options: CameraOptions = {}) {
    super(context);
    this.#options = options;
    this.#route = route;
    this.#imageProperty = options.imageProperty ?? "CCD1";
    this.requiredProperties = [exposureProperty, "CCD_INFO", this.#imageProperty];
  }

  protected override async setUp(signal: AbortSignal, again: boolean): Promise<void> {
    if (!again) return this.#route.enable(this.#imageProperty);
    // A restarted driver has its own saved settings, not ours.
    this.#isPrepared = false;
    if (Object.keys(this.#setup).length > 0) await this.#apply(this.#setup, signal);
  }

  get #gain(): NumberPlace | undefined {
    return findControl(this.device, "gain", this.#options.gainProperty);
  }

  get #offset(): NumberPlace | undefined {
    return findControl(this.device, "offset", this.#options.offsetProperty);
  }

  get limits() {
    const info = this.device.property("CCD_INFO");
    const binning = limitsOf(this.device.property("CCD_BINNING"), "HOR_BIN");
    return {
      exposureSeconds: this.#exposureRange(),
      gain: rangeOf(this.device, this.#gain),
      offset: rangeOf(this.device, this.#offset),
      binning: binning ? { min: binning.min, max: binning.max, step: 1 } : { min: 1, max: 1, step: 1 },
      sensorPx: { widthPx: numberIn(info, "CCD_MAX_X") ?? 0, heightPx: numberIn(info, "CCD_MAX_Y") ?? 0 },
      pixelMicron: numberIn(info, "CCD_PIXEL_SIZE_X") ?? numberIn(info, "CCD_PIXEL_SIZE") ?? Number.NaN,
      fullScaleAdu: this.#options.fullScaleAdu ?? this.#declaredFullScaleAdu(),
    };
  }

  /** Some drivers give 0 as their shortest: no exposure is that short. */
  #exposureRange(): Range {
    const limits = limitsOf(this.device.property(exposureProperty), "CCD_EXPOSURE_VALUE");
    return limits ? { min: Math.max(limits.min, 1e-6), max: limits.max } : { min: 1e-6, max: 3600 };
  }

  /** A converter of fewer bits than the word fills its upper bits (common practice, no source). */
  #declaredFullScaleAdu(): number {
    const wordBits = numberIn(this.device.property("CCD_INFO"), "CCD_BITSPERPIXEL") ?? 16;
    const bits = Number.isInteger(wordBits) && wordBits >= 8 && wordBits <= 16 ? wordBits : 16;
    const adcBits = numberIn(this.device.property("ADC_DEPTH"), "BITS");
    const emptyBits = adcBits !== undefined && adcBits >= 8 && adcBits < bits ? bits - adcBits : 0;
    return 2 ** bits - 2 ** emptyBits;
  }

  get cooler() {
    const { device } = this;
    return {
      sensorCelsius: async (signal: AbortSignal) => {
        await this.ready(signal);
        return hasThermometer(device) ? readCelsius(device, signal) : undefined;
      },
      canHold: canHold(device),
    };
  }

  async configure(setup: CameraSetup, signal: AbortSignal) {
    await this.ready(signal);
    checkSetup(this.device, setup, this.limits);
    this.#checkCooler(setup.coolerCelsius);
    await stopExposing(this.#tools, { always: false }, signal);
    await this.#apply(setup, signal);
    this.#setup = { ...this.#setup, ...setup };
    return this.#setupInForce();
  }

  #checkCooler(celsius: number | undefined): void {
    if (celsius === undefined) return;
    if (!canHold(this.device))
      throw new MissingAbilityError(this.name, "this camera cannot hold a temperature");
    const limits = temperatureLimits(this.device);
    if (limits && (celsius < limits.min || celsius > limits.max)) {
      throw new OutOfLimitsError(
        this.name,
        "sensor temperature",
        celsius,
        `${limits.min} to ${limits.max} degrees`,
      );
    }
  }

  /** Format (in `#prepare`), then binning, then region: each may reset the next. */
  async #apply(setup: CameraSetup, signal: AbortSignal): Promise<void> {
    await this.#prepare(signal);
    if (setup.binning !== undefined) await setBinning(this.device, setup.binning, signal);
    if (setup.region) await setRegion(this.device, setup.region, signal, { always: false });
    if (setup.gain !== undefined) await setControl(this.device, this.#gain, setup.gain, signal);
    if (setup.offset !== undefined) await setControl(this.device, this.#offset, setup.offset, signal);
    if (setup.coolerCelsius !== undefined) await holdCelsius(this.device, setup.coolerCelsius, signal);
  }

  /** Not at opening: nothing may change before the baseline has been read. */
  async #prepare(signal: AbortSignal): Promise<void> {
    if (this.#isPrepared) return;
    const format = this.#options.captureFormat;
    await prepareTransport(this.device, format === undefined ? {} : { captureFormat: format }, signal);
    this.#isPrepared = true;
  }

  #setupInForce() {
    const { sensorPx } = this.limits;
    const read = (place: NumberPlace | undefined) =>
      (place && numberIn(this.device.property(place.property), place.element)) ?? 0;
    return {
      gain: read(this.#gain),
      offset: read(this.#offset),
      binning: this.#binning(),
      region: regionOf(this.device.property("CCD_FRAME")) ?? { xPx: 0, yPx: 0, ...sensorPx },
    };
  }

  #binning(): number {
    return numberIn(this.device.property("CCD_BINNING"), "HOR_BIN") ?? 1;
  }

  async expose(
    request: { exposureSeconds: number; frameType: FrameType },
    signal: AbortSignal,
  ): Promise<Frame> {
    await this.ready(signal);
    const { min, max } = this.limits.exposureSeconds;
    const exposureSeconds = request.frameType === "bias" ? min : request.exposureSeconds;
    if (!(exposureSeconds >= min && exposureSeconds <= max)) {
      throw new OutOfLimitsError(this.name, "exposure", exposureSeconds, `${min} to ${max} s`);
    }
    for (let attempt = 1; ; attempt++) {
      try {
        await this.ready(signal);
        return await this.#attempt({ exposureSeconds, frameType: request.frameType }, signal);
      } catch (error) {
        await this.#recover(error, attempt, signal);
      }
    }
  }

  /** Decides whether there is another attempt, and makes the camera ready for it; otherwise throws. */
  async #recover(error: unknown, attempt: number, signal: AbortSignal): Promise<void> {
    const own = new AbortController().signal;
    const isLost = error instanceof DeviceLostError;
    const mayRetry =
      isLost ||
      error instanceof DeadlineError ||
      error instanceof ReadbackError ||
      error instanceof BlobError;
    if (!isLost) {
      await this.#stopOrReconnect(attempt >= 2 && !signal.aborted, own).catch((stopError: unknown) => {
        this.log.error({ device: this.name, error: String(stopError) }, "the camera could not be made idle");
      });
    }
    signal.throwIfAborted();
    if (!mayRetry || attempt >= attemptsMax) throw error;
    this.log.warn({ device: this.name, attempt, error: String(error) }, "the exposure is taken once more");
  }

  /** Abort, drain, and if that does not help, disconnect and connect. */
  async #stopOrReconnect(reconnect: boolean, signal: AbortSignal): Promise<void> {
    try {
      await stopExposing(this.#tools, { always: true }, signal);
      if (!reconnect) return;
    } catch (error) {
      if (error instanceof DeviceLostError) throw error;
      this.log.warn({ device: this.name, error: String(error) }, "the camera does not answer an abort");
    }
    await this.device.disconnectDevice(signal);
    await this.ready(signal);
  }

  get #tools() {
    return { device: this.device, clock: this.clock, log: this.log };
  }

  async #attempt(
    request: { exposureSeconds: number; frameType: FrameType },
    signal: AbortSignal,
  ): Promise<Frame> {
    const { exposureSeconds, frameType } = request;
    await this.#prepare(signal);
    if (this.device.property(exposureProperty)?.state === "Busy") await this.ensureStopped(signal);
    await this.#setFrameType(frameType, signal);
    const { region, binning, gain, offset } = this.#setupInForce();
    const requestedUtcMs = this.clock.nowMs();
    const asked = {
      exposureSeconds,
      exposureCounts: frameType !== "bias",
      requestedUtcMs,
      widthPx: Math.floor(region.widthPx / binning),
      heightPx: Math.floor(region.heightPx / binning),
    };
    let received: ReceivedFrame | undefined;
    let problem: string | undefined;
    const accept = (blob: IndiBlob): boolean => {
      if (blob.bytes.length === 0) return false; // a state change without data
      try {
        received = frameFromBlob(blob, asked);
        problem = this.#check.problem(received, asked);
      } catch (error) {
        if (!(error instanceof UnreadableFrameError)) throw error;
        problem = error.message;
      }
      if (problem !== undefined) this.log.warn({ device: this.name, problem }, "a frame was dropped");
      return problem === undefined;
    };
    const readoutSeconds = this.#options.readoutSeconds ?? 30;
    const route = { blobProperty: this.#imageProperty, ordered: this.#route.ordered, accept };
    try {
      await exposeOnce(this.#tools, { exposureSeconds, readoutSeconds, ...route }, signal);
    } catch (error) {
      if (problem === undefined || !(error instanceof DeadlineError)) throw error;
      throw new ReadbackError(
        this.name,
        "frame",
        `${asked.widthPx} x ${asked.heightPx} px, ${exposureSeconds} s`,
        problem,
      );
    }
    if (!received) throw new DeadlineError(this.name, "the image", readoutSeconds);
    this.#compareGain(received, gain);
    return {
      pixelsAdu: received.pixelsAdu,
      widthPx: received.widthPx,
      heightPx: received.heightPx,
      exposureSeconds: received.exposureSeconds ?? exposureSeconds,
      startedUtcMs: received.startedUtcMs ?? requestedUtcMs,
      frameType,
      ...(this.#gain ? { gain: received.gain ?? gain } : {}),
      ...(this.#offset ? { offset: received.offset ?? offset } : {}),
      ...(received.sensorCelsius === undefined ? {} : { sensorCelsius: received.sensorCelsius }),
    };
  }

  /** The card is in the driver's own unit at times, so a difference is told and not judged. */
  #compareGain(frame: ReceivedFrame, gain: number): void {
    if (!this.#gain || frame.gain === undefined || Math.abs(frame.gain - gain) < 0.5) return;
    this.log.warn(
      { device: this.name, setGain: gain, cardGain: frame.gain },
      "the frame's header states another gain",
    );
  }

  async #setFrameType(frameType: FrameType, signal: AbortSignal): Promise<void> {
    const types = this.device.property("CCD_FRAME_TYPE");
    const element = frameTypeElements[frameType];
    // An unknown element would leave none on and be answered Ok.
    if (!types?.elements.has(element)) return;
    await ensureValues(this.device, "CCD_FRAME_TYPE", { [element]: true }, signal);
  }

  async ensureStopped(signal: AbortSignal): Promise<void> {
    await this.ready(signal);
    try {
      await stopExposing(this.#tools, { always: false }, signal);
    } catch (error) {
      if (!(error instanceof DeadlineError)) throw error;
      await this.#stopOrReconnect(true, signal);
    }
  }

  /** From here on the set-up of the work is no more to be kept, not even over a restart of the driver. */
  override async restoreSetting(setting: Setting, signal: AbortSignal): Promise<void> {
    this.#setup = {};
    this.#isPrepared = false;
    await super.restoreSetting(setting, signal);
  }

  protected override keptSettings(): readonly KeptSetting[] {
    return cameraSettings(this.device, { gain: this.#gain, offset: this.#offset });
  }

  override describe(): Readonly<Record<string, string>> {
    const { exposureSeconds, gain, offset, binning, sensorPx, pixelMicron, fullScaleAdu } = this.limits;
    const range = (one: Range | undefined) => (one ? `${one.min} to ${one.max}` : "none");
    return {
      sensor: `${sensorPx.widthPx} x ${sensorPx.heightPx} px of ${pixelMicron} micron`,
      exposure: `${range(exposureSeconds)} s`,
      gain: range(gain),
      offset: range(offset),
      binning: range(binning),
      fullScale: `${fullScaleAdu} adu`,
      cooler: this.cooler.canHold
        ? "holds a temperature"
        : hasThermometer(this.device)
          ? "thermometer only"
          : "none",
      abort: this.has("CCD_ABORT_EXPOSURE") ? "yes" : "no",
    };
  }
}
