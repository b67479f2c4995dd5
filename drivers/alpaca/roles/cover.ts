import { DeadlineError, MissingAbilityError, ReadbackError, RefusedError } from "../../kit/errors.ts";
import type { Cover, CoverOptions, CoverState } from "../../roles/cover.ts";
import { CoverTravel } from "../../roles/cover-travel.ts";
import { UncommandedChange } from "../../roles/foreign-commands.ts";
import { type KeptSetting, openOrClosedSetting } from "../../roles/kept-settings.ts";
import { AlpacaRole, type RoleContext } from "../session/alpaca-role.ts";
import { whole } from "../wire/values.ts";

/** CoverStatus and CalibratorStatus of the standard. */
const coverStatus = { notPresent: 0, closed: 1, moving: 2, open: 3, error: 5 } as const;
const calibratorStatus = { notPresent: 0, off: 1, notReady: 2, ready: 3 } as const;
const lightSeconds = 30;

/** The cover of a CoverCalibrator. */
export class AlpacaCover extends AlpacaRole implements Cover {
  override readonly role: "cover" | "diffuser";
  readonly #travel: CoverTravel;
  readonly #uncommanded = new UncommandedChange();
  #brightnessMax: number | undefined;

  constructor(context: RoleContext, options: CoverOptions) {
    super(context);
    this.role = options.role;
    this.#travel = new CoverTravel(this.clock, options.travelSecondsMax ?? 90);
  }

  protected override async readFacts(signal: AbortSignal): Promise<void> {
    if ((await this.#status(signal)) === coverStatus.notPresent) {
      throw new MissingAbilityError(this.name, "this device has a light and no cover to move");
    }
    const light = await this.device.optional("calibratorstate", whole, signal);
    const hasLight = light !== undefined && light !== calibratorStatus.notPresent;
    this.#brightnessMax = hasLight ? await this.device.optional("maxbrightness", whole, signal) : undefined;
  }

  protected override ping(signal: AbortSignal): Promise<number> {
    return this.device.probe("coverstate", whole, signal);
  }

  async #status(signal: AbortSignal): Promise<number> {
    const saw = this.#uncommanded.look();
    const status = await this.device.get("coverstate", whole, signal);
    this.#travel.saw(status === coverStatus.moving);
    const before = saw(stateOf(status), status === coverStatus.closed || status === coverStatus.open);
    if (before !== undefined)
      this.foreignCommands.note(
        `it was ${before} and is ${stateOf(status)}, which was not commanded from here`,
      );
    return status;
  }

  state(signal: AbortSignal): Promise<CoverState> {
    return this.recovering(() => this.#state(signal), signal);
  }

  async #state(signal: AbortSignal): Promise<CoverState> {
    const state = stateOf(await this.#status(signal));
    return state === "moving" && this.#travel.isOverdue ? "unknown" : state;
  }

  ensureClosed(signal: AbortSignal): Promise<void> {
    return this.#ensure("closed", signal);
  }

  ensureOpen(signal: AbortSignal): Promise<void> {
    return this.overrulable((abort) => this.#ensure("open", abort), signal);
  }

  sendClose(signal: AbortSignal): Promise<void> {
    const options = { urgent: true, withinSeconds: this.#travel.secondsMax };
    return this.sendUnasked((abort) => {
      this.#uncommanded.commanded();
      return this.device.put("closecover", {}, abort, options);
    }, signal);
  }

  /** A built-in light is switched off before opening: it would shine into the telescope. */
  #ensure(wanted: "open" | "closed", signal: AbortSignal): Promise<void> {
    return this.recovering(async () => {
      if (wanted === "open") await this.#setBrightness(0, signal);
      await this.#bringTo(wanted, signal);
    }, signal);
  }

  /** A cover that did not know its place after power-up is commanded all the same; it need not find out by itself. */
  async #bringTo(wanted: "closed" | "open", signal: AbortSignal): Promise<void> {
    for (let attempt = 1; ; attempt++) {
      const state = await this.#atRest(signal);
      if (state === wanted) return;
      if (attempt > 2) throw new ReadbackError(this.name, this.role, wanted, state);
      if (attempt > 1) {
        this.log.warn({ device: this.name, wanted, state }, "the cover ended elsewhere; sending it again");
      }
      const withinSeconds = this.#travel.commandSeconds;
      this.#uncommanded.commanded();
      await this.device.put(wanted === "closed" ? "closecover" : "opencover", {}, signal, { withinSeconds });
      const status = await this.#untilRest(withinSeconds, signal);
      if (status === coverStatus.error)
        throw new RefusedError(this.name, "the cover reports an error (state 5)");
    }
  }

  /** `unknown` when it says longer than its way takes that it moves. */
  async #atRest(signal: AbortSignal): Promise<CoverState> {
    const state = await this.#state(signal);
    if (state !== "moving") return state;
    await this.#untilRest(this.#travel.leftSeconds, signal).catch((error: unknown) => {
      if (!(error instanceof DeadlineError)) throw error;
    });
    return this.#state(signal);
  }

  #untilRest(withinSeconds: number, signal: AbortSignal): Promise<number> {
    return this.device.until(
      `the ${this.role}'s motion`,
      { withinSeconds, precisionSeconds: 0.2 },
      async (abort) => {
        const status = await this.#status(abort);
        return status === coverStatus.moving ? undefined : status;
      },
      signal,
    );
  }

  /** 0: the light is off. `undefined`: there is none. */
  async #brightness(signal: AbortSignal): Promise<number | undefined> {
    if (this.#brightnessMax === undefined) return undefined;
    const status = await this.device.get("calibratorstate", whole, signal);
    const isOn = status === calibratorStatus.ready || status === calibratorStatus.notReady;
    return isOn ? this.device.get("brightness", whole, signal) : 0;
  }

  async #setBrightness(brightness: number, signal: AbortSignal): Promise<void> {
    const now = await this.#brightness(signal);
    if (now === undefined || now === brightness) return;
    if (brightness === 0) await this.device.put("calibratoroff", {}, signal);
    else await this.device.put("calibratoron", { Brightness: brightness }, signal);
    const wanted = brightness === 0 ? calibratorStatus.off : calibratorStatus.ready;
    await this.device.until(
      "the built-in light",
      { withinSeconds: lightSeconds },
      async (abort) =>
        (await this.device.get("calibratorstate", whole, abort)) === wanted ? true : undefined,
      signal,
    );
  }

  protected override keptSettings(): readonly KeptSetting[] {
    const position = openOrClosedSetting(
      "position",
      (signal) => this.#atRest(signal),
      (wanted, signal) => (wanted === "open" ? this.ensureOpen(signal) : this.ensureClosed(signal)),
    );
    const light: KeptSetting = {
      key: "light",
      unit: `of ${this.#brightnessMax}`,
      read: (signal) => this.#brightness(signal),
      restore: (value, signal) => this.#setBrightness(Number(value), signal),
    };
    return this.#brightnessMax === undefined ? [position] : [position, light];
  }

  override describe(): Readonly<Record<string, string>> {
    return {
      position: "opens and closes",
      light:
        this.#brightnessMax === undefined
          ? "none"
          : `built in, 0 to ${this.#brightnessMax}, switched off before opening`,
    };
  }
}

function stateOf(status: number): CoverState {
  switch (status) {
    case coverStatus.closed:
      return "closed";
    case coverStatus.open:
      return "open";
    case coverStatus.moving:
      return "moving";
    default:
      return "unknown";
  }
}
