import {
  DeadlineError,
  DeviceLostError,
  MissingAbilityError,
  OutOfLimitsError,
  ReadbackError,
} from "../kit/errors.ts";
import type { CameraSetup, CooledCamera, Frame, FrameType } from "../roles/camera.ts";
import type { Range } from "../roles/device.ts";
import { checkCelsius, coolerSettings, holdCelsius, readCelsius } from "./camera-cooler.ts";
import {
  type CameraTools,
  ExposureMemory,
  exposeOnce,
  LostExposureError,
  stopExposing,
} from "./camera-exposure.ts";
import { type CameraFacts, type ControlFacts, readCameraFacts } from "./camera-facts.ts";
import {
  checkRegion,
  type DeviceFrame,
  frameFor,
  frameSetting,
  readFrame,
  regionOf,
  setFrame,
} from "./camera-frame.ts";
import { AscomError, UnreadableReplyError } from "./errors.ts";
import { ensureProperty, type KeptSetting, type Property, propertySetting } from "./kept-setting.ts";
import { AlpacaRole, type RoleContext } from "./role-device.ts";
import { number, whole } from "./values.ts";

/** What the rig file may say of a camera. */
export interface CameraOptions {
  /** Highest code of a pixel, if the driver's own account is wrong. */
  readonly fullScaleAdu?: number;
  /** Longest time from the end of an exposure to its last byte here [s]. Default 30. */
  readonly readoutSeconds?: number;
}

const controls = {
  gain: { member: "gain", parameter: "Gain", schema: whole },
  offset: { member: "offset", parameter: "Offset", schema: whole },
} as const satisfies Record<string, Property<number>>;

type SetupInForce = Required<Omit<CameraSetup, "coolerCelsius">>;

/** How long settings that were read are believed [s]. */
const believedSeconds = 10;
/** First try, once more after an abort, once more after disconnecting and connecting. */
const attemptsMax = 3;

export class AlpacaCamera extends AlpacaRole implements CooledCamera {
  override readonly role = "camera";
  readonly #options: CameraOptions;
  readonly #memory = new ExposureMemory();
  #known: CameraFacts | undefined;
  /** As read from the camera at that time. */
  #inForce: { setup: SetupInForce; frame: DeviceFrame; readMs: number } | undefined;
  /** Whether the last exposure ended as it should: then nothing can be under way but by another client's hand. */
  #isAtRest = false;
  #setup: CameraSetup = {};

  constructor(context: RoleContext, options: CameraOptions = {}) {
    super(context);
    this.#options = options;
  }

  protected override async readFacts(signal: AbortSignal): Promise<void> {
    const facts = await readCameraFacts(this.device, signal);
    if (facts.sensorType === 1) {
      throw new MissingAbilityError(this.name, "a colour camera that gives three planes is of no use here");
    }
    this.#known = facts;
    this.#inForce = undefined;
    this.#isAtRest = false;
  }

  protected override async setUpAgain(signal: AbortSignal): Promise<void> {
    if (Object.keys(this.#setup).length > 0) await this.#apply(this.#setup, signal);
  }

  protected override ping(signal: AbortSignal): Promise<number> {
    return this.device.get("camerastate", number, signal);
  }

  get #facts(): CameraFacts {
    if (!this.#known) throw new TypeError("the camera is not open");
    return this.#known;
  }

  get #tools(): CameraTools {
    return { device: this.device, clock: this.clock, log: this.log };
  }

  get limits() {
    const facts = this.#facts;
    const { min, max } = facts.exposureSeconds;
    return {
      // Some drivers give 0 as their shortest: no exposure is that short.
      exposureSeconds: { ...facts.exposureSeconds, min: Math.max(min, 1e-6), max },
      gain: facts.gain?.range,
      offset: facts.offset?.range,
      binning: { min: 1, max: facts.binningMax, step: 1 },
      sensorPx: { widthPx: facts.widthPx, heightPx: facts.heightPx },
      pixelMicron: facts.pixelMicron,
      fullScaleAdu: this.#options.fullScaleAdu ?? Math.min(65535, facts.maxAdu),
    };
  }

  get cooler() {
    return {
      sensorCelsius: (signal: AbortSignal) => this.recovering(() => readCelsius(this.device, signal), signal),
      canHold: this.#facts.canHoldCelsius,
    };
  }

  async configure(setup: CameraSetup, signal: AbortSignal) {
    await this.ready(signal);
    this.#check(setup);
    return this.recovering(async () => {
      await this.#stop(signal);
      this.#inForce = undefined;
      await this.#apply(setup, signal);
      this.#setup = { ...this.#setup, ...setup };
      return (await this.#setupInForce(signal)).setup;
    }, signal);
  }

  /** @throws OutOfLimitsError, MissingAbilityError: all of it before anything is sent */
  #check(setup: CameraSetup): void {
    const { limits, name } = this;
    const inside = (what: string, value: number | undefined, range: Range | undefined) => {
      if (value === undefined) return;
      if (!range) throw new MissingAbilityError(name, `this camera has no ${what} to set`);
      if (!(Number.isInteger(value) && value >= range.min && value <= range.max)) {
        throw new OutOfLimitsError(name, what, value, `the whole numbers ${range.min} to ${range.max}`);
      }
    };
    inside("gain", setup.gain, limits.gain);
    inside("offset", setup.offset, limits.offset);
    inside("binning", setup.binning, limits.binning);
    if (setup.region) checkRegion(name, setup.region, limits.sensorPx);
    if (setup.coolerCelsius === undefined) return;
    if (!this.cooler.canHold) throw new MissingAbilityError(name, "this camera cannot hold a temperature");
    checkCelsius(name, setup.coolerCelsius);
  }

  /** A change of binning alone keeps the region of the sensor. */
  async #apply(setup: CameraSetup, signal: AbortSignal): Promise<void> {
    if (setup.binning !== undefined || setup.region) {
      const now = await readFrame(this.device, signal);
      const isFull = now.numX >= Math.floor(this.#facts.widthPx / now.binX);
      const whole = { xPx: 0, yPx: 0, widthPx: this.#facts.widthPx, heightPx: this.#facts.heightPx };
      const kept = isFull && now.numY >= Math.floor(this.#facts.heightPx / now.binY) ? whole : regionOf(now);
      await setFrame(this.device, frameFor(setup.region ?? kept, setup.binning ?? now.binX), signal);
    }
    for (const control of ["gain", "offset"] as const) {
      const value = setup[control];
      if (value !== undefined) await ensureProperty(this.device, controls[control], value, signal);
    }
    if (setup.coolerCelsius !== undefined) {
      await holdCelsius(this.device, this.clock, setup.coolerCelsius, signal);
    }
  }

  /** Read anew after a while: another client may have changed it, as there are no locks in this protocol. */
  async #setupInForce(signal: AbortSignal): Promise<{ setup: SetupInForce; frame: DeviceFrame }> {
    const known = this.#inForce;
    if (known && this.clock.nowMs() - known.readMs < believedSeconds * 1000) return known;
    const frame = await readFrame(this.device, signal);
    const read = async (control: "gain" | "offset") =>
      this.#facts[control] ? this.device.get(control, whole, signal) : 0;
    const setup = {
      gain: await read("gain"),
      offset: await read("offset"),
      binning: frame.binX,
      region: regionOf(frame),
    };
    this.#inForce = { setup, frame, readMs: this.clock.nowMs() };
    return this.#inForce;
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
      error instanceof LostExposureError ||
      error instanceof UnreadableReplyError;
    // A device that is lost is found again by the next attempt; nothing of its exposure is left.
    if (!isLost || signal.aborted) {
      await this.#stop(own).catch((stopError: unknown) => {
        this.log.error({ device: this.name, error: String(stopError) }, "the camera could not be made idle");
      });
    }
    signal.throwIfAborted();
    if (!mayRetry || attempt >= attemptsMax) throw error;
    this.log.warn({ device: this.name, attempt, error: String(error) }, "the exposure is taken once more");
    if (attempt === attemptsMax - 1 && !isLost) {
      await this.disconnectAll(signal);
      await this.connectAll(signal);
      await this.setUpAgain(signal);
    }
  }

  async #attempt(
    { exposureSeconds, frameType }: { exposureSeconds: number; frameType: FrameType },
    signal: AbortSignal,
  ): Promise<Frame> {
    if (!this.#isAtRest) await this.#stop(signal);
    this.#isAtRest = false;
    const { frame, setup } = await this.#setupInForce(signal);
    const requestedUtcMs = this.clock.nowMs();
    const asked = {
      exposureSeconds,
      light: frameType === "light" || frameType === "flat",
      readoutSeconds: this.#options.readoutSeconds ?? 30,
      maxAdu: this.#facts.maxAdu,
    };
    const { image, ...reported } = await exposeOnce(this.#tools, asked, this.#memory, signal);
    const { pixelsAdu, widthPx, heightPx } = image;
    if (widthPx !== frame.numX || heightPx !== frame.numY) {
      throw new ReadbackError(
        this.name,
        "frame",
        `${frame.numX} x ${frame.numY} px`,
        `${widthPx} x ${heightPx} px`,
      );
    }
    this.#isAtRest = true;
    const sensorCelsius = this.#facts.hasThermometer ? await this.#celsius(signal) : undefined;
    return {
      pixelsAdu,
      widthPx,
      heightPx,
      exposureSeconds: reported.exposureSeconds,
      startedUtcMs: reported.startedUtcMs ?? requestedUtcMs,
      frameType,
      ...(this.#facts.gain ? { gain: setup.gain } : {}),
      ...(this.#facts.offset ? { offset: setup.offset } : {}),
      ...(sensorCelsius === undefined ? {} : { sensorCelsius }),
    };
  }

  /** A thermometer that does not answer now is no reason to lose a frame. */
  async #celsius(signal: AbortSignal): Promise<number | undefined> {
    try {
      return await readCelsius(this.device, signal);
    } catch (error) {
      if (error instanceof AscomError) return undefined;
      throw error;
    }
  }

  #stop(signal: AbortSignal): Promise<void> {
    return stopExposing(this.#tools, this.#facts, this.limits.exposureSeconds.max, signal);
  }

  async ensureStopped(signal: AbortSignal): Promise<void> {
    await this.recovering(() => this.#stop(signal), signal);
  }

  protected override keptSettings(): readonly KeptSetting[] {
    const { device } = this;
    const facts = this.#facts;
    return [
      frameSetting(device),
      ...(facts.gain ? [propertySetting(device, "gain", controls.gain)] : []),
      ...(facts.offset ? [propertySetting(device, "offset", controls.offset)] : []),
      ...coolerSettings(device, facts),
    ];
  }

  override describe(): Readonly<Record<string, string>> {
    const facts = this.#facts;
    const { exposureSeconds, binning, fullScaleAdu } = this.limits;
    const control = (one: ControlFacts | undefined) => {
      if (!one) return "none";
      const { min, max } = one.range;
      return one.names ? `${min} to ${max}: ${one.names.join(", ")}` : `${min} to ${max}`;
    };
    const size = `${facts.widthPx} x ${facts.heightPx} px of ${facts.pixelMicron} micron`;
    return {
      sensor: facts.sensorName === "" ? size : `${facts.sensorName}, ${size}`,
      exposure: `${exposureSeconds.min} to ${exposureSeconds.max} s`,
      gain: control(facts.gain),
      offset: control(facts.offset),
      binning: `${binning.min} to ${binning.max}`,
      fullScale: `${fullScaleAdu} adu`,
      cooler: facts.canHoldCelsius
        ? "holds a temperature"
        : facts.hasThermometer
          ? "thermometer only"
          : "none",
      abort: facts.canAbort ? "yes" : facts.canStop ? "ends early and reads out" : "no",
      shutter: facts.hasShutter ? "yes" : "no: darks need the cover",
    };
  }
}
