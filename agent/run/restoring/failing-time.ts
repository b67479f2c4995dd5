import { connectionKey } from "../../../drivers/roles/kept-settings.ts";
import type { BaselineEntry } from "../record/run-record.ts";
import { isOpenShutter } from "./kept-safe.ts";

/** After so long in which a device could not be put back, nothing more of it is tried but to close it [s]. */
const failingSecondsMax = 300;

/** How long each device could not be put back, so that one which fails slowly does not keep the rest for hours. */
export class FailingTime {
  readonly #seconds = new Map<string, number>();

  add({ role, device }: BaselineEntry, seconds: number): void {
    const name = `${role}/${device}`;
    this.#seconds.set(name, (this.#seconds.get(name) ?? 0) + seconds);
  }

  isOver({ role, device }: BaselineEntry): boolean {
    return (this.#seconds.get(`${role}/${device}`) ?? 0) >= failingSecondsMax;
  }

  /** Why a setting is not tried any more; what covers is tried to the end, and each connection once more. */
  whyGivenUp(entry: BaselineEntry): string | undefined {
    const covers = entry.role === "cover" || isOpenShutter(entry);
    if (covers || entry.setting.key === connectionKey || !this.isOver(entry)) return undefined;
    return `not tried any more: this device could not be put back within ${failingSecondsMax} s`;
  }
}
