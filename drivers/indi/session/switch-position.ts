import { type PropertyVector, switchesOn } from "../wire/property.ts";
import type { IndiDevice } from "./device.ts";

/**
 * Trust in a switch that stands for a place (a cover, a shutter). The switch shows the wish, not the fact: only
 * state Ok counts, and not even that after somebody changed the wish in mid-motion, because drivers were seen to end
 * the old motion and to show the new wish with Ok. Doubt ends with a whole motion that nobody disturbed.
 */
export class SwitchPosition {
  #movingTo: string | undefined;
  #disturbed = false;
  #doubted = false;

  constructor(device: IndiDevice, property: string) {
    device.watch((event) => {
      if ((event.type === "updated" || event.type === "defined") && event.vector.name === property) {
        this.#follow(event.vector);
      } else if (event.type === "lost") {
        this.#movingTo = undefined;
      }
    });
  }

  /** The switch that is on and can be believed; `undefined`: unknown. */
  believed(vector: PropertyVector): string | undefined {
    const on = switchesOn(vector);
    return vector.state === "Ok" && on.length === 1 && !this.#doubted ? on[0] : undefined;
  }

  #follow(vector: PropertyVector): void {
    if (vector.awaitingAnswer) return;
    const target = switchesOn(vector).join();
    if (vector.state === "Busy") {
      if (this.#movingTo === undefined) this.#disturbed = false;
      else if (this.#movingTo !== target) this.#disturbed = true;
      this.#movingTo = target;
      return;
    }
    if (this.#movingTo !== undefined) {
      this.#doubted = this.#disturbed || (vector.state === "Ok" && target !== this.#movingTo);
      this.#movingTo = undefined;
    }
  }
}
