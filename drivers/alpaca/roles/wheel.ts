import { OutOfLimitsError, ReadbackError } from "../../kit/errors.ts";
import type { KeptSetting } from "../../roles/kept-settings.ts";
import type { Wheel } from "../../roles/wheel.ts";
import { AlpacaRole } from "../session/alpaca-role.ts";
import { texts, whole } from "../wire/values.ts";

/** A full turn of a slow wheel with margin [s]. */
const turnSecondsMax = 90;
/** The standard's position while it turns. */
const turning = -1;

/** Slots count from 0 on the wire and from 1 here. */
export class AlpacaWheel extends AlpacaRole implements Wheel {
  override readonly role = "wheel";
  #names: readonly string[] = [];

  protected override async readFacts(signal: AbortSignal): Promise<void> {
    this.#names = await this.device.get("names", texts, signal);
  }

  protected override ping(signal: AbortSignal): Promise<number> {
    return this.device.probe("position", whole, signal);
  }

  get slotNames(): readonly string[] {
    return this.#names.map((name, i) => (name === "" ? String(i + 1) : name));
  }

  slot(signal: AbortSignal): Promise<number> {
    return this.recovering(() => this.#atRest(signal), signal);
  }

  /** A wheel that turns is in no slot. */
  #atRest(signal: AbortSignal): Promise<number> {
    return this.device.until(
      "the wheel's turning",
      { withinSeconds: turnSecondsMax },
      async (abort) => {
        const position = await this.device.get("position", whole, abort);
        return position === turning ? undefined : position + 1;
      },
      signal,
    );
  }

  async moveTo(slot: number, signal: AbortSignal): Promise<void> {
    const count = this.#names.length;
    if (!Number.isInteger(slot) || slot < 1 || slot > count) {
      throw new OutOfLimitsError(this.name, "filter slot", slot, `the whole numbers 1 to ${count}`);
    }
    await this.recovering(async () => {
      if ((await this.#atRest(signal)) === slot) return;
      await this.device.put("position", { Position: slot - 1 }, signal, { withinSeconds: turnSecondsMax });
      const reached = await this.#atRest(signal);
      if (reached !== slot) throw new ReadbackError(this.name, "slot", slot, reached);
    }, signal);
  }

  protected override keptSettings(): readonly KeptSetting[] {
    return [
      {
        key: "slot",
        read: (signal) => this.#atRest(signal),
        restore: (value, signal) => this.moveTo(Number(value), signal),
      },
    ];
  }

  override describe(): Readonly<Record<string, string>> {
    return { slots: this.slotNames.map((name, i) => `${i + 1} ${name}`).join(", ") };
  }
}
