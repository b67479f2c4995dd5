import { DeadlineError, DeviceLostError } from "../../kit/errors.ts";
import { neverAborted } from "../../kit/never-aborted.ts";
import type {
  CameraSetup,
  CooledCamera,
  ExposureRequest,
  Frame,
  FrameType,
  SetupInForce,
} from "../../roles/camera.ts";
import { checkSetup, describeLimits } from "../../roles/camera-setup.ts";
import type { Setting } from "../../roles/device.ts";
import { exposeWithRetries, isExposureLost } from "../../roles/exposure-attempts.ts";
import type { KeptSetting } from "../../roles/kept-settings.ts";
import { IndiRole, type RoleContext } from "../session/indi-role.ts";
import { ensureValues } from "../session/kept-setting.ts";
import { BlobError } from "../wire/errors.ts";
import { FrameCheck } from "../wire/frame-check.ts";
import { numberIn } from "../wire/property.ts";
import { regionOf, setBinning, setControl, setRegion } from "./camera-configure.ts";
import { cameraLimits, findControl, type NumberPlace } from "./camera-controls.ts";
import { canHold, checkCelsius, hasThermometer, holdCelsius, readCelsius } from "./camera-cooler.ts";
import { exposureProperty, stopExposing } from "./camera-exposure.ts";
import type { CameraOptions, ImageRoute } from "./camera-options.ts";
import { cameraSettings } from "./camera-settings.ts";
import { takeFrame } from "./camera-take.ts";
import { checkCaptureFormats, prepareTransport } from "./camera-transport.ts";

const frameTypeElements: Readonly<Record<FrameType, string>> = {
  light: "FRAME_LIGHT",
  dark: "FRAME_DARK",
  bias: "FRAME_BIAS",
  flat: "FRAME_FLAT",
};

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
    if (!again) {
      checkCaptureFormats(this.device, this.#options.captureFormat);
      return this.#route.enable(this.#imageProperty);
    }
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
    const { fullScaleAdu } = this.#options;
    const declared = cameraLimits(this.device, { gain: this.#gain, offset: this.#offset });
    return fullScaleAdu === undefined ? declared : { ...declared, fullScaleAdu };
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

  async setup(signal: AbortSignal): Promise<SetupInForce> {
    await this.ready(signal);
    const places = [this.#gain, this.#offset].map((place) => place?.property);
    const names = new Set(["CCD_BINNING", "CCD_FRAME", ...places]);
    for (const name of names) if (name && this.has(name)) await this.device.refresh(name, {}, signal);
    return this.#setupInForce();
  }

  async configure(setup: CameraSetup, signal: AbortSignal) {
    await this.ready(signal);
    checkSetup(this, setup);
    if (setup.coolerCelsius !== undefined) checkCelsius(this.device, setup.coolerCelsius);
    await stopExposing(this.tools, { always: false }, signal);
    await this.#apply(setup, signal);
    this.#setup = { ...this.#setup, ...setup };
    return this.#setupInForce();
  }

  /** Format (in `#prepare`), then binning, then region: each may reset the next. */
  async #apply(setup: CameraSetup, signal: AbortSignal): Promise<void> {
    await this.#prepare(signal);
    if (setup.binning !== undefined) await setBinning(this.device, setup.binning, signal);
    if (setup.region) await setRegion(this.device, setup.region, signal, { always: false });
    await setControl(this.device, this.#gain, setup.gain, signal);
    await setControl(this.device, this.#offset, setup.offset, signal);
    if (setup.coolerCelsius !== undefined) await holdCelsius(this.device, setup.coolerCelsius, signal);
  }

  /** Not at opening: nothing may change before the baseline has been read. */
  async #prepare(signal: AbortSignal): Promise<void> {
    if (this.#isPrepared) return;
    await prepareTransport(this.device, this.#options.captureFormat, signal);
    this.#isPrepared = true;
  }

  #setupInForce(): SetupInForce {
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

  expose(request: ExposureRequest, signal: AbortSignal): Promise<Frame> {
    return this.overrulable((abort) => this.#expose(request, abort), signal);
  }

  #expose(request: ExposureRequest, signal: AbortSignal): Promise<Frame> {
    const isLost = (error: unknown) => error instanceof DeviceLostError;
    const ways = {
      ready: () => this.ready(signal),
      expose: (allowed: ExposureRequest) => this.#attempt(allowed, signal),
      mayRepeat: (error: unknown) => isExposureLost(error) || error instanceof BlobError,
      makeIdle: async (error: unknown, attempt: number) => {
        if (!isLost(error)) await this.#stopOrReconnect(attempt >= 2 && !signal.aborted, neverAborted);
      },
    };
    return exposeWithRetries(this, this.tools, request, ways, signal);
  }

  sendStop(signal: AbortSignal): Promise<void> {
    return this.sendSwitches("CCD_ABORT_EXPOSURE", { ABORT: true }, signal);
  }

  giveBack(pixelsAdu: Uint16Array): void {
    this.device.giveBack(pixelsAdu);
  }

  /** Abort, drain, and if that does not help, disconnect and connect. */
  async #stopOrReconnect(reconnect: boolean, signal: AbortSignal): Promise<void> {
    try {
      await stopExposing(this.tools, { always: true }, signal);
      if (!reconnect) return;
    } catch (error) {
      if (error instanceof DeviceLostError) throw error;
      this.log.warn({ device: this.name, error: String(error) }, "the camera does not answer an abort");
    }
    await this.disconnect(signal);
    await this.ready(signal);
  }

  async #attempt(request: ExposureRequest, signal: AbortSignal): Promise<Frame> {
    await this.#prepare(signal);
    if (this.device.property(exposureProperty)?.state === "Busy") await this.ensureStopped(signal);
    await this.#setFrameType(request.frameType, signal);
    const { gain, offset, ...place } = this.#setupInForce();
    return takeFrame(
      this.tools,
      {
        ...request,
        ...place,
        gain: this.#gain && gain,
        offset: this.#offset && offset,
        readoutSeconds: this.#options.readoutSeconds ?? 30,
        imageProperty: this.#imageProperty,
        ordered: this.#route.ordered,
      },
      this.#check,
      signal,
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
      await stopExposing(this.tools, { always: false }, signal);
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
    return {
      ...describeLimits(this.limits),
      cooler: this.cooler.canHold
        ? "holds a temperature"
        : hasThermometer(this.device)
          ? "thermometer only"
          : "none",
      abort: this.has("CCD_ABORT_EXPOSURE") ? "yes" : "no",
    };
  }
}
