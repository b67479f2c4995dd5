import type { World } from "../../scene/world.ts";
import { SimDevice } from "../sim-device.ts";
import { selectSwitch, switchVector } from "../vector.ts";

const dustCapInterface = 512;
const group = "Main Control";

/** A leaf in front of the telescope. Parked means in the light: the cover closed, the diffuser in place. */
export class CapDevice extends SimDevice {
  protected override readonly volatile = new Set(["CAP_PARK"]);

  constructor(name: string, world: World, part: "cover" | "diffuser") {
    super(name, world, { driver: "front-cover-driver", interfaceBits: dustCapInterface });
    const leaf = world[part];
    const parkedAt = part === "cover" ? 0 : 1;
    const park = switchVector({ name: "CAP_PARK", label: "Parking", group, timeout: 0 }, [
      ["PARK", "Park"],
      ["UNPARK", "Unpark"],
    ]);
    const read = () => {
      const at = leaf.moving ? leaf.target : leaf.reported;
      const where = at === parkedAt ? "PARK" : leaf.moving || at === 1 - parkedAt ? "UNPARK" : undefined;
      selectSwitch(park, where);
      park.state = leaf.moving ? "Busy" : where === undefined ? "Alert" : "Ok";
    };
    this.whenConnected(read);
    this.whenAtRest(part, () => {
      read();
      if (park.state !== "Ok") this.message("WARNING", "Stopped half way.");
      else this.message("INFO", park.elements[0]?.value ? "Parked." : "Unparked.");
      this.set(park);
    });
    // What another client commanded is shown to all of them.
    world.listen(({ part: moved, what }) => {
      const isNew = moved === part && what === "moveStarted" && park.state !== "Busy";
      if (isNew && this.connected) this.set(park, "Busy");
    });
    this.on(park, (values) => {
      const wish = values.get("PARK") ? "PARK" : values.get("UNPARK") ? "UNPARK" : undefined;
      if (!wish) return;
      selectSwitch(park, wish); // also when refused: the last set tells the truth
      const target = wish === "PARK" ? parkedAt : 1 - parkedAt;
      if (leaf.moving) {
        leaf.refuse(target);
        this.message("WARNING", "Already in motion.");
      } else {
        this.message("INFO", wish === "PARK" ? "Parking." : "Unparking.");
        park.state = "Busy";
        leaf.moveTo(target);
      }
      this.set(park, "Busy");
    });
    this.addButton({ name: "CAP_ABORT", label: "Abort", group, timeout: 0 }, ["ABORT", "Abort"], () =>
      leaf.stop(),
    );
  }
}
