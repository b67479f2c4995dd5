import { MissingAbilityError, ReadbackError } from "../../kit/errors.ts";
import type { Cover, CoverState } from "../../roles/cover.ts";
import { UncommandedChange } from "../../roles/foreign-commands.ts";
import { type KeptSetting, openOrClosedSetting } from "../../roles/kept-settings.ts";
import { AlpacaRole, type RoleContext } from "../session/alpaca-role.ts";
import { flag, number, text, whole } from "../wire/values.ts";

export interface SwitchCoverOptions {
  readonly role: "cover" | "diffuser";
  /** Which of the device's switches: its name, or its number from 0. */
  readonly switch: string | number;
  /** The value that brings it over the aperture; the other end of the switch's range takes it away. Default: the maximum. */
  readonly closedValue?: number;
  /** Longest time that one way takes [s]. Default 90 where the switch tells its end, otherwise 10. */
  readonly travelSecondsMax?: number;
}

interface SwitchFacts {
  readonly id: number;
  readonly name: string;
  readonly closedValue: number;
  readonly openValue: number;
  readonly isAsync: boolean;
  readonly tolerance: number;
}

/** A switch that moves a cover or a diffuser: one end of its range is closed, the other open. */
export class AlpacaSwitchCover extends AlpacaRole implements Cover {
  override readonly role: "cover" | "diffuser";
  readonly #options: SwitchCoverOptions;
  readonly #uncommanded = new UncommandedChange();
  #known: SwitchFacts | undefined;
  /** A switch that does not tell its end may still be on its way until then, on the monotonic clock. */
  #movingUntilSeconds = Number.NEGATIVE_INFINITY;

  constructor(context: RoleContext, options: SwitchCoverOptions) {
    super(context);
    this.role = options.role;
    this.#options = options;
  }

  get #facts(): SwitchFacts {
    if (!this.#known) throw new TypeError("the switch is not open");
    return this.#known;
  }

  get #id() {
    return { Id: this.#facts.id };
  }

  protected override async readFacts(signal: AbortSignal): Promise<void> {
    const { device } = this;
    const { id, name } = await this.#find(signal);
    const Id = { Id: id };
    if (!(await device.get("canwrite", flag, signal, Id))) {
      throw new MissingAbilityError(this.name, `the switch "${name}" can only be read`);
    }
    const min = await device.get("minswitchvalue", number, signal, Id);
    const max = await device.get("maxswitchvalue", number, signal, Id);
    const step = (await device.optional("switchstep", number, signal, Id)) ?? max - min;
    const closedValue = this.#options.closedValue ?? max;
    if (closedValue !== min && closedValue !== max) {
      throw new MissingAbilityError(
        this.name,
        `the switch "${name}" goes from ${min} to ${max}; closedValue must be one of the two, not ${closedValue}`,
      );
    }
    this.#known = {
      id,
      name,
      closedValue,
      openValue: closedValue === max ? min : max,
      isAsync: await device.can("canasync", signal, Id),
      tolerance: step / 2,
    };
  }

  async #find(signal: AbortSignal): Promise<{ id: number; name: string }> {
    const wanted = this.#options.switch;
    const count = await this.device.get("maxswitch", whole, signal);
    const names: string[] = [];
    for (let id = 0; id < count; id++) {
      const name = (await this.device.optional("getswitchname", text, signal, { Id: id })) ?? "";
      if (id === wanted || name === wanted) return { id, name };
      names.push(`${id} ${name}`);
    }
    throw new MissingAbilityError(
      this.name,
      `there is no switch "${wanted}"; there are: ${names.join(", ")}`,
    );
  }

  protected override ping(signal: AbortSignal): Promise<number> {
    return this.device.probe("getswitchvalue", number, signal, this.#id);
  }

  state(signal: AbortSignal): Promise<CoverState> {
    return this.recovering(() => this.#state(signal), signal);
  }

  async #state(signal: AbortSignal): Promise<CoverState> {
    const saw = this.#uncommanded.look();
    const state = await this.#readState(signal);
    const before = saw(state, state === "closed" || state === "open");
    if (before !== undefined)
      this.foreignCommands.note(`it was ${before} and is ${state}, which was not commanded from here`);
    return state;
  }

  async #readState(signal: AbortSignal): Promise<CoverState> {
    const { isAsync, closedValue, openValue, tolerance } = this.#facts;
    const isDone = isAsync
      ? await this.device.get("statechangecomplete", flag, signal, this.#id)
      : this.clock.monotonicSeconds() >= this.#movingUntilSeconds;
    if (!isDone) return "moving";
    const value = await this.device.get("getswitchvalue", number, signal, this.#id);
    if (Math.abs(value - closedValue) < tolerance) return "closed";
    return Math.abs(value - openValue) < tolerance ? "open" : "unknown";
  }

  ensureClosed(signal: AbortSignal): Promise<void> {
    return this.recovering(() => this.#bringTo("closed", signal), signal);
  }

  ensureOpen(signal: AbortSignal): Promise<void> {
    return this.overrulable((abort) => this.recovering(() => this.#bringTo("open", abort), abort), signal);
  }

  sendClose(signal: AbortSignal): Promise<void> {
    return this.sendUnasked((abort) => this.#send("closed", abort, { urgent: true }), signal);
  }

  async #bringTo(wanted: "closed" | "open", signal: AbortSignal): Promise<void> {
    if ((await this.#atRest(signal)) === wanted) return;
    await this.#send(wanted, signal, { urgent: false });
    const reached = await this.#atRest(signal);
    if (reached !== wanted) throw new ReadbackError(this.name, this.role, wanted, reached);
  }

  #send(wanted: "closed" | "open", signal: AbortSignal, { urgent }: { urgent: boolean }): Promise<void> {
    const { isAsync, closedValue, openValue } = this.#facts;
    const parameters = { ...this.#id, Value: wanted === "closed" ? closedValue : openValue };
    this.#uncommanded.commanded();
    this.#movingUntilSeconds = this.clock.monotonicSeconds() + this.#travelSeconds;
    const options = { urgent, withinSeconds: this.#travelSeconds + 10 };
    return this.device.put(isAsync ? "setasyncvalue" : "setswitchvalue", parameters, signal, options);
  }

  get #travelSeconds(): number {
    return this.#options.travelSecondsMax ?? (this.#facts.isAsync ? 90 : 10);
  }

  /** A switch that does not tell its end is given the whole of its time. */
  #atRest(signal: AbortSignal): Promise<CoverState> {
    const leftSeconds = this.#facts.isAsync ? 0 : this.#movingUntilSeconds - this.clock.monotonicSeconds();
    return this.device.until(
      `the ${this.role}'s motion`,
      { withinSeconds: this.#travelSeconds + 10, expectSeconds: leftSeconds },
      async (abort) => {
        const state = await this.#state(abort);
        return state === "moving" ? undefined : state;
      },
      signal,
    );
  }

  protected override keptSettings(): readonly KeptSetting[] {
    return [
      openOrClosedSetting(
        "position",
        (signal) => this.#atRest(signal),
        (wanted, signal) => (wanted === "open" ? this.ensureOpen(signal) : this.ensureClosed(signal)),
      ),
    ];
  }

  override describe(): Readonly<Record<string, string>> {
    const { id, name, closedValue, openValue, isAsync } = this.#facts;
    return {
      position: "opens and closes",
      switch: `${id} ${name}: ${closedValue} closed, ${openValue} open`,
      end: isAsync ? "told by the device" : `${this.#travelSeconds} s after the command`,
    };
  }
}
