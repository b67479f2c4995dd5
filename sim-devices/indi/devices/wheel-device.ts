import type { World } from "../../scene/world.ts";
import { SimDevice } from "../sim-device.ts";
import { numberVector, putNumbers, textVector } from "../vector.ts";

const wheelInterface = 16;

export class WheelDevice extends SimDevice {
  protected override readonly volatile = new Set(["FILTER_SLOT"]);
  readonly #slot;

  constructor(name: string, world: World) {
    super(name, world.clock, { driver: "wheel-driver", interfaceBits: wheelInterface });
    const { slots } = world.spec.rig;
    const slot = numberVector(
      { name: "FILTER_SLOT", label: "Filter Slot", group: "Filter Wheel", state: "Ok" },
      [["FILTER_SLOT_VALUE", "Filter", Math.round(world.wheel.reported), 1, slots.length, 1, "%.f"]],
    );
    this.#slot = slot;
    const names = textVector(
      { name: "FILTER_NAME", label: "Filter", group: "Filter Wheel" },
      slots.map((s, i) => [`FILTER_SLOT_NAME_${i + 1}`, `Filter#${i + 1}`, s.name]),
    );
    this.onNumber(slot, (asked) => {
      const wanted = Math.trunc(asked.get("FILTER_SLOT_VALUE") ?? Number.NaN);
      if (!(wanted >= 1 && wanted <= slots.length)) {
        this.message("ERROR", `Filter ${wanted} is outside 1 to ${slots.length}.`);
        this.set(slot, "Alert");
        return;
      }
      world.wheel.moveTo(wanted);
      this.set(slot, "Busy"); // still with the old slot
    });
    this.onText(names, (asked) => {
      for (const element of names.elements) element.value = asked.get(element.name) ?? element.value;
      this.set(names, "Ok");
    });
    world.listen(({ part, what }) => {
      if (part !== "wheel" || !this.connected || what !== "moveEnded") return;
      putNumbers(slot, [world.wheel.reported]);
      this.set(slot, "Ok");
    });
    this.#moving = () => world.wheel.moving;
  }

  readonly #moving: () => boolean;

  protected override whenConnected(): void {
    this.#slot.state = this.#moving() ? "Busy" : "Ok";
  }
}
