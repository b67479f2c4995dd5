import { MissingAbilityError, OutOfLimitsError, ReadbackError } from "../../kit/errors.ts";
import { resolveAll } from "../../kit/resolve-all.ts";
import type { Range } from "../../roles/device.ts";
import type { Focuser, FocuserOptions } from "../../roles/focuser.ts";
import type { KeptSetting } from "../../roles/kept-settings.ts";
import { AlpacaRole, type RoleContext } from "../session/alpaca-role.ts";
import { ensureProperty, type Property, propertySetting } from "../session/kept-setting.ts";
import { flag, whole } from "../wire/values.ts";

const tempComp: Property<boolean> = { name: "TempComp", schema: flag };

/** An absolute focuser: what only moves by so many steps cannot be put back exactly. */
export class AlpacaFocuser extends AlpacaRole implements Focuser {
  override readonly role = "focuser";
  readonly #stepsPerSecondMin: number;
  #limits: Range = { min: 0, max: 0, step: 1 };
  #incrementMax = Number.POSITIVE_INFINITY;
  #hasTempComp = false;

  constructor(context: RoleContext, options: FocuserOptions = {}) {
    super(context);
    this.#stepsPerSecondMin = options.stepsPerSecondMin ?? 100;
  }

  protected override async readFacts(signal: AbortSignal): Promise<void> {
    const { isAbsolute, max, incrementMax, hasTempComp } = await resolveAll({
      isAbsolute: this.device.get("absolute", flag, signal),
      max: this.device.get("maxstep", whole, signal),
      incrementMax: this.device.optional("maxincrement", whole, signal),
      hasTempComp: this.device.can("tempcompavailable", signal),
    });
    if (!isAbsolute) throw new MissingAbilityError(this.name, "this focuser does not know its position");
    this.#limits = { min: 0, max, step: 1 };
    this.#incrementMax = incrementMax ?? max;
    this.#hasTempComp = hasTempComp;
  }

  protected override ping(signal: AbortSignal): Promise<boolean> {
    return this.device.probe("ismoving", flag, signal);
  }

  get limits(): { readonly positionSteps: Range } {
    return { positionSteps: this.#limits };
  }

  positionSteps(signal: AbortSignal): Promise<number> {
    return this.recovering(() => this.#position(signal), signal);
  }

  #position(signal: AbortSignal): Promise<number> {
    return this.device.get("position", whole, signal);
  }

  /** Beyond its limits a focuser stops at the limit without a word, so they are checked here. */
  async moveTo(positionSteps: number, signal: AbortSignal): Promise<void> {
    const { min, max } = this.#limits;
    if (!(positionSteps >= min && positionSteps <= max)) {
      throw new OutOfLimitsError(this.name, "focuser position", positionSteps, `${min} to ${max} steps`);
    }
    const target = Math.round(positionSteps);
    await this.moveOrStop(
      () => this.#bringTo(target, signal),
      (own) => this.#stop(own),
      signal,
    );
  }

  async #bringTo(target: number, signal: AbortSignal): Promise<void> {
    await this.#stop(signal);
    let from = await this.#position(signal);
    if (from === target) return;
    // It would move by itself afterwards, and older focusers refuse to move while it is on.
    if (this.#hasTempComp) await ensureProperty(this.device, tempComp, false, signal);
    while (from !== target) {
      const step = Math.max(1, this.#incrementMax);
      const next = from + Math.max(-step, Math.min(step, target - from));
      await this.device.put("move", { Position: next }, signal, {
        withinSeconds: this.#moveSeconds(next - from),
      });
      await this.#untilStill(this.#moveSeconds(next - from), signal);
      const reached = await this.#position(signal);
      if (reached !== next) throw new ReadbackError(this.name, "position", next, reached);
      from = reached;
    }
  }

  #moveSeconds(steps: number): number {
    return 15 + Math.abs(steps) / this.#stepsPerSecondMin;
  }

  /** The position may equal the target before the motion has ended. */
  async #untilStill(withinSeconds: number, signal: AbortSignal): Promise<void> {
    const options = { withinSeconds, precisionSeconds: 0.1 };
    await this.device.untilOff("the focuser's motion", "ismoving", options, signal);
  }

  async ensureStopped(signal: AbortSignal): Promise<void> {
    await this.recovering(() => this.#stop(signal), signal);
  }

  /** Without a halt the move in hand is waited for. */
  async #stop(signal: AbortSignal): Promise<void> {
    if (!(await this.device.get("ismoving", flag, signal))) return;
    await this.device.halt(signal);
    await this.#untilStill(this.#moveSeconds(this.#limits.max), signal);
  }

  protected override keptSettings(): readonly KeptSetting[] {
    const position: KeptSetting = {
      key: "position",
      unit: "steps",
      read: (signal) => this.#position(signal),
      restore: (value, signal) => this.moveTo(Number(value), signal),
    };
    return this.#hasTempComp
      ? [position, propertySetting(this.device, "temperatureCompensation", tempComp)]
      : [position];
  }

  override describe(): Readonly<Record<string, string>> {
    const { min, max } = this.#limits;
    return {
      position: `${min} to ${max} steps`,
      temperatureCompensation: this.#hasTempComp ? "yes, off while it is moved" : "none",
    };
  }
}
