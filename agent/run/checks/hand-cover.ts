import { MissingAbilityError, RefusedError } from "../../../drivers/kit/errors.ts";
import type { Cover, CoverState } from "../../../drivers/roles/cover.ts";
import type { Setting } from "../../../drivers/roles/device.ts";
import { noForeignCommands } from "../../../drivers/roles/foreign-commands.ts";

/** Asks the person at the instrument; resolves with the answer, rejects when the signal aborts. */
export type AskPerson = (question: string, signal: AbortSignal) => Promise<"yes" | "no">;

/** Taken for a filter, a diffuser would be put on instead of the one thing that makes the Sun safe. */
const putCaution = { cover: "", diffuser: "It goes in front of the Sun filter, which stays on. " };
const what = {
  cover: "the cap over the front of the telescope",
  diffuser: "the diffuser",
} as const;

/** A cap or a diffuser that a person moves: every change is asked for, every answer is taken as the state. */
export class ManualCover implements Cover {
  readonly name: string;
  readonly isMovedByHand = true;
  #state: CoverState = "unknown";

  constructor(
    readonly role: "cover" | "diffuser",
    readonly ask: AskPerson,
  ) {
    this.name = `${role} moved by hand`;
  }

  async state(): Promise<CoverState> {
    return this.#state;
  }

  ensureClosed(signal: AbortSignal): Promise<void> {
    return this.#ensure("closed", `Put ${what[this.role]} on now. ${putCaution[this.role]}Is it on?`, signal);
  }

  ensureOpen(signal: AbortSignal): Promise<void> {
    const caution = "The Sun filter stays on. Do not look through the telescope or a finder.";
    return this.#ensure("open", `Take ${what[this.role]} off now. ${caution} Is it off?`, signal);
  }

  /** Nothing closes it but a person. */
  async sendClose(): Promise<void> {
    throw new MissingAbilityError(this.name, "can't be commanded");
  }

  async #ensure(wanted: "open" | "closed", question: string, signal: AbortSignal): Promise<void> {
    if (this.#state === wanted) return;
    this.#state = "unknown";
    if ((await this.ask(question, signal)) !== "yes") throw new RefusedError(this.name, "was not moved");
    this.#state = wanted;
  }

  async readSettings(signal: AbortSignal): Promise<readonly Setting[]> {
    if (this.#state === "unknown") {
      this.#state = (await this.ask(`Is ${what[this.role]} on?`, signal)) === "yes" ? "closed" : "open";
    }
    return [{ key: "position", value: this.#state }];
  }

  restoreSetting(setting: Setting, signal: AbortSignal): Promise<void> {
    return setting.value === "open" ? this.ensureOpen(signal) : this.ensureClosed(signal);
  }

  sameSetting(before: Setting, now: Setting): boolean {
    return before.key === now.key && before.value === now.value;
  }

  readonly roundTripSeconds = 0;
  readonly foreignCommands = noForeignCommands;

  async isAlive(): Promise<boolean> {
    return true;
  }

  describe(): Readonly<Record<string, string>> {
    return { position: "moved by a person, who is asked" };
  }

  async [Symbol.asyncDispose](): Promise<void> {}
}
