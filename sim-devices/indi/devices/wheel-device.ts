import type { World } from "../../scene/world.ts";
import { SimDevice } from "../sim-device.ts";
import { numberVector, putNumbers, textVector } from "../vector.ts";

const wheelInterface = 16;
const group = "Filter Wheel";

export class WheelDevice extends SimDevice {
  protected override readonly volatile = new Set(["FILTER_SLOT"]);

  constructor(name: string, world: World) {
    super(name, world, { driver: "wheel-driver", interfaceBits: wheelInterface });
    const { wheel } = world;
    const { slots } = world.spec.rig;
    const slot = numberVector({ name: "FILTER_SLOT", label: "Filter Slot", group, state: "Ok" }, [
      ["FILTER_SLOT_VALUE", "Filter", Math.round(wheel.reported), 1, slots.length, 1, "%.f"],
    ]);
    const names = textVector(
      { name: "FILTER_NAME", label: "Filter", group },
      slots.map((s, i) => [`FILTER_SLOT_NAME_${i + 1}`, `Filter#${i + 1}`, s.name]),
    );
    this.on(slot, (values) => {
      const wanted = Math.trunc(values.get("FILTER_SLOT_VALUE") ?? Number.NaN);
      if (!(wanted >= 1 && wanted <= slots.length)) {
        this.message("ERROR", `Filter ${wanted} is outside 1 to ${slots.length}.`);
        this.set(slot, "Alert");
        return;
      }
      wheel.moveTo(wanted);
      this.set(slot, "Busy"); // still with the old slot
    });
    this.keep(names);
    this.whenConnected(() => {
      slot.state = wheel.moving ? "Busy" : "Ok";
    });
    this.whenAtRest("wheel", (hasArrived) => {
      if (!hasArrived) return;
      putNumbers(slot, [wheel.reported]);
      this.set(slot, "Ok");
    });
  }
}
