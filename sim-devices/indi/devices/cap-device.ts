import type { Glide } from "../../scene/mechanics/glide.ts";
import type { World } from "../../scene/world.ts";
import { SimDevice, type SwitchesAsked } from "../sim-device.ts";
import { selectSwitch, switchVector } from "../vector.ts";

const dustCapInterface = 512;

/** A leaf in front of the telescope. Parked means in the light: the cover closed, the diffuser in place. */
export class CapDevice extends SimDevice {
  protected override readonly volatile = new Set(["CAP_PARK"]);
  readonly #leaf: Glide;
  readonly #parkedAt: 0 | 1;
  readonly #park = switchVector({ name: "CAP_PARK", label: "Parking", group: "Main Control", timeout: 0 }, [
    ["PARK", "Park"],
    ["UNPARK", "Unpark"],
  ]);
  readonly #abort = switchVector(
    { name: "CAP_ABORT", label: "Abort", group: "Main Control", rule: "AtMostOne", timeout: 0 },
    [["ABORT", "Abort"]],
  );

  constructor(name: string, world: World, part: "cover" | "diffuser") {
    super(name, world.clock, { driver: "front-cover-driver", interfaceBits: dustCapInterface });
    this.#leaf = world[part];
    this.#parkedAt = part === "cover" ? 0 : 1;
    this.onSwitch(this.#park, (asked) => this.#move(asked));
    this.onSwitch(this.#abort, () => {
      this.#leaf.stop();
      this.set(this.#abort, "Ok");
    });
    world.listen((moment) => {
      if (moment.part !== part || !this.connected) return;
      if (moment.what === "moveEnded" || moment.what === "moveStopped") this.#tell();
    });
  }

  protected override whenConnected(): void {
    this.#read();
  }

  #read(): void {
    const at = this.#leaf.reported;
    const where = at === this.#parkedAt ? "PARK" : at === 1 - this.#parkedAt ? "UNPARK" : undefined;
    selectSwitch(
      this.#park,
      this.#leaf.moving ? (this.#leaf.target === this.#parkedAt ? "PARK" : "UNPARK") : where,
    );
    this.#park.state = this.#leaf.moving ? "Busy" : where === undefined ? "Alert" : "Ok";
  }

  #tell(): void {
    this.#read();
    if (this.#park.state === "Ok") {
      this.message("INFO", this.#park.elements[0]?.value ? "Parked." : "Unparked.");
    } else {
      this.message("WARNING", "Stopped half way.");
    }
    this.set(this.#park);
  }

  #move(asked: SwitchesAsked): void {
    const wish = asked.get("PARK") ? "PARK" : asked.get("UNPARK") ? "UNPARK" : undefined;
    if (!wish) return;
    const target = wish === "PARK" ? this.#parkedAt : 1 - this.#parkedAt;
    if (this.#leaf.moving) {
      this.#leaf.refuse();
      this.message("WARNING", "Already in motion.");
      selectSwitch(this.#park, wish); // the switch shows the refused wish; the last set tells the truth
      this.set(this.#park, "Busy");
      return;
    }
    this.message("INFO", wish === "PARK" ? "Parking." : "Unparking.");
    selectSwitch(this.#park, wish);
    this.#leaf.moveTo(target);
    this.set(this.#park, "Busy");
  }
}
