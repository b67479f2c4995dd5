import { OutOfLimitsError } from "../../kit/errors.ts";
import type { KeptSetting } from "../../roles/kept-settings.ts";
import type { Wheel } from "../../roles/wheel.ts";
import { IndiRole } from "../session/indi-role.ts";
import { readNumber } from "../session/read-number.ts";
import { limitsOf, numberIn, textIn } from "../wire/property.ts";

const property = "FILTER_SLOT";
const element = "FILTER_SLOT_VALUE";
/** A full turn of a slow wheel with margin [s]. */
const turnSecondsMax = 90;

export class IndiWheel extends IndiRole implements Wheel {
  override readonly role = "wheel";
  protected override readonly mainProperty = property;
  protected override readonly requiredProperties = [property];

  get slotNames(): readonly string[] {
    const names = this.device.property("FILTER_NAME");
    return Array.from({ length: this.#slotCount() }, (_, i) => {
      const name = textIn(names, `FILTER_SLOT_NAME_${i + 1}`);
      return name === undefined || name === "" ? String(i + 1) : name;
    });
  }

  #slotCount(): number {
    return (
      limitsOf(this.device.property(property), element)?.max ??
      this.device.property("FILTER_NAME")?.elements.size ??
      1
    );
  }

  async slot(signal: AbortSignal): Promise<number> {
    await this.ready(signal);
    return readNumber(this.device, property, element, signal);
  }

  async moveTo(slot: number, signal: AbortSignal): Promise<void> {
    await this.ready(signal);
    const count = this.#slotCount();
    // A fraction would be cut by the driver without a word.
    if (!Number.isInteger(slot) || slot < 1 || slot > count) {
      throw new OutOfLimitsError(this.name, "filter slot", slot, `the whole numbers 1 to ${count}`);
    }
    await this.device.untilIdle(property, turnSecondsMax, signal);
    if ((await this.slot(signal)) === slot) return;
    await this.device.change(
      property,
      { [element]: slot },
      {
        withinSeconds: turnSecondsMax,
        replySeconds: 10, // some wheels say nothing until they have arrived
        arrived: (vector) => numberIn(vector, element) === slot,
      },
      signal,
    );
  }

  protected override keptSettings(): readonly KeptSetting[] {
    return [
      {
        key: "slot",
        read: (signal) => this.slot(signal),
        restore: (value, signal) => this.moveTo(Number(value), signal),
      },
    ];
  }

  override describe(): Readonly<Record<string, string>> {
    return { slots: this.slotNames.map((name, i) => `${i + 1} ${name}`).join(", ") };
  }
}
