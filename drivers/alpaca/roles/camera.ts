import { DeviceLostError, MissingAbilityError, ReadbackError } from "../../kit/errors.ts";
import { given } from "../../kit/given.ts";
import { neverAborted } from "../../kit/never-aborted.ts";
import type {
  CameraSetup,
  CameraWithConversion,
  CooledCamera,
  ExposureRequest,
  Frame,
  SetupInForce,
} from "../../roles/camera.ts";
import { checkSetup } from "../../roles/camera-setup.ts";
import type { Setting } from "../../roles/device.ts";
import { exposeWithRetries, exposureAttemptsMax, isExposureLost } from "../../roles/exposure-attempts.ts";
import type { KeptSetting } from "../../roles/kept-settings.ts";
import { AlpacaRole, type RoleContext } from "../session/alpaca-role.ts";
import { propertySetting } from "../session/kept-setting.ts";
import { AscomError, UnreadableReplyError } from "../wire/errors.ts";
import { number } from "../wire/values.ts";
import { checkCelsius, coolerSettings, readCelsius } from "./camera-cooler.ts";
import { ExposureMemory, exposeOnce, stopExposing } from "./camera-exposure.ts";
import { type CameraFacts, readCameraFacts } from "./camera-facts.ts";
import { type DeviceFrame, frameSetting } from "./camera-frame.ts";
import { type CameraOptions, cameraLimits, describeCamera } from "./camera-limits.ts";
import { applySetup, controlMembers, readSetup } from "./camera-setup.ts";

/** How long settings that were read are believed [s]. */
const believedSeconds = 10;

export class AlpacaCamera extends AlpacaRole implements CooledCamera, CameraWithConversion {
  override readonly role = "camera";
  readonly #options: CameraOptions;
  readonly #memory = new ExposureMemory();
  #known: CameraFacts | undefined;
  /** As read from the camera at that time. */
  #inForce: { setup: SetupInForce; frame: DeviceFrame; readAtSeconds: number } | undefined;
  /** Whether the last exposure ended as it should: then nothing can be under way but by another client's hand. */
  #isAtRest = false;
  /** Whether what it exposes was asked for here. */
  #isOurs = false;
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

  protected override async setUp(signal: AbortSignal): Promise<void> {
    if (Object.keys(this.#setup).length > 0) await this.#apply(this.#setup, signal);
  }

  protected override ping(signal: AbortSignal): Promise<number> {
    return this.device.probe("camerastate", number, signal);
  }

  get #facts(): CameraFacts {
    if (!this.#known) throw new TypeError("the camera is not open");
    return this.#known;
  }

  get limits() {
    return cameraLimits(this.#facts, this.#options);
  }

  get cooler() {
    return {
      sensorCelsius: (signal: AbortSignal) => this.recovering(() => readCelsius(this.device, signal), signal),
      canHold: this.#facts.canHoldCelsius,
    };
  }

  /** `ElectronsPerADU` (ASCOM ICameraV4); drivers that do not know give 0 or an error. */
  electronsPerAdu(signal: AbortSignal): Promise<number | undefined> {
    return this.recovering(async () => {
      const stated = await this.device.optional("electronsperadu", number, signal);
      return stated !== undefined && stated > 0 && Number.isFinite(stated) ? stated : undefined;
    }, signal);
  }

  setup(signal: AbortSignal): Promise<SetupInForce> {
    return this.recovering(async () => {
      this.#inForce = undefined;
      return (await this.#setupInForce(signal)).setup;
    }, signal);
  }

  async configure(setup: CameraSetup, signal: AbortSignal) {
    await this.ready(signal);
    checkSetup(this, setup);
    if (setup.coolerCelsius !== undefined) checkCelsius(this.name, setup.coolerCelsius, this.#facts);
    return this.recovering(async () => {
      await this.#stop(signal);
      this.#inForce = undefined;
      await this.#apply(setup, signal);
      this.#setup = { ...this.#setup, ...setup };
      return (await this.#setupInForce(signal)).setup;
    }, signal);
  }

  #apply(setup: CameraSetup, signal: AbortSignal): Promise<void> {
    return applySetup(this.device, this.#facts, setup, signal);
  }

  /** Read anew after a while: another client may have changed it, as there are no locks in this protocol. */
  async #setupInForce(signal: AbortSignal): Promise<{ setup: SetupInForce; frame: DeviceFrame }> {
    const known = this.#inForce;
    if (known && this.clock.monotonicSeconds() - known.readAtSeconds < believedSeconds) return known;
    this.#inForce = {
      ...(await readSetup(this.device, this.#facts, signal)),
      readAtSeconds: this.clock.monotonicSeconds(),
    };
    return this.#inForce;
  }

  expose(request: ExposureRequest, signal: AbortSignal): Promise<Frame> {
    return this.overrulable((abort) => this.#expose(request, abort), signal);
  }

  #expose(request: ExposureRequest, signal: AbortSignal): Promise<Frame> {
    const isLost = (error: unknown) => error instanceof DeviceLostError;
    const ways = {
      ready: () => this.ready(signal),
      expose: (allowed: ExposureRequest) => this.#attempt(allowed, signal),
      mayRepeat: (error: unknown) => isExposureLost(error) || error instanceof UnreadableReplyError,
      // A device that is lost is found again by the next attempt; nothing of its exposure is left.
      makeIdle: async (error: unknown) => {
        if (!isLost(error) || signal.aborted) await this.#stop(neverAborted);
      },
      reconnect: async (error: unknown, attempt: number) => {
        if (isLost(error) || attempt < exposureAttemptsMax - 1) return;
        await this.disconnect(signal);
        await this.connectAll(signal);
        await this.setUp(signal);
      },
    };
    return exposeWithRetries(this, this.tools, request, ways, signal);
  }

  giveBack(pixelsAdu: Uint16Array): void {
    this.device.server.memory.giveBack(pixelsAdu);
  }

  async #attempt({ exposureSeconds, frameType }: ExposureRequest, signal: AbortSignal): Promise<Frame> {
    if (!this.#isAtRest) await this.#stop(signal);
    this.#isAtRest = false;
    this.#isOurs = true;
    const { frame, setup } = await this.#setupInForce(signal);
    const requestedUtcMs = this.clock.nowMs();
    const asked = {
      exposureSeconds,
      light: frameType === "light" || frameType === "flat",
      readoutSeconds: this.#options.readoutSeconds ?? 30,
      maxAdu: this.#facts.maxAdu,
    };
    const { image, ...reported } = await exposeOnce(this.tools, asked, this.#memory, signal);
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
    this.#isOurs = false;
    const sensorCelsius = this.#facts.hasThermometer ? await this.#celsius(signal) : undefined;
    return {
      pixelsAdu,
      widthPx,
      heightPx,
      exposureSeconds: reported.exposureSeconds,
      startedUtcMs: reported.startedUtcMs ?? requestedUtcMs,
      frameType,
      ...given({
        gain: this.#facts.gain && setup.gain,
        offset: this.#facts.offset && setup.offset,
        sensorCelsius,
      }),
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

  async #stop(signal: AbortSignal): Promise<void> {
    const wasBusy = await stopExposing(this.tools, this.#facts, this.limits.exposureSeconds.max, signal);
    if (wasBusy && !this.#isOurs)
      this.foreignCommands.note("it was exposing, which was not commanded from here");
    this.#isOurs = false;
  }

  async ensureStopped(signal: AbortSignal): Promise<void> {
    await this.recovering(() => this.#stop(signal), signal);
  }

  sendStop(signal: AbortSignal): Promise<void> {
    const { canAbort, canStop } = this.#facts;
    return this.sendUnasked(async (abort) => {
      if (!canAbort && !canStop) throw new MissingAbilityError(this.name, "this camera cannot abort");
      await this.device.put(canAbort ? "abortexposure" : "stopexposure", {}, abort, { urgent: true });
    }, signal);
  }

  /** What is put back is no longer ours to set anew after a restart, and is read anew by the next exposure. */
  override restoreSetting(setting: Setting, signal: AbortSignal): Promise<void> {
    this.#setup = {};
    this.#inForce = undefined;
    return super.restoreSetting(setting, signal);
  }

  protected override keptSettings(): readonly KeptSetting[] {
    const { device } = this;
    const facts = this.#facts;
    return [
      frameSetting(device),
      ...(facts.gain ? [propertySetting(device, "gain", controlMembers.gain)] : []),
      ...(facts.offset ? [propertySetting(device, "offset", controlMembers.offset)] : []),
      ...coolerSettings(device, facts),
    ];
  }

  override describe(): Readonly<Record<string, string>> {
    return describeCamera(this.#facts, this.limits);
  }
}
