import type { Glide } from "../../scene/mechanics/glide.ts";
import type { World } from "../../scene/world.ts";
import { cancelled, checkedNumber, invalidValue, notImplemented } from "../ascom-error.ts";
import { type DeviceOptions, type Identity, SimAlpacaDevice } from "../sim-alpaca-device.ts";

const id = { Id: "int" } as const;

interface SwitchFacts {
  readonly name: string;
  readonly description: string;
  readonly read: () => number;
  /** What it moves, from 0 to 1. Absent: it can only be read. */
  readonly mover?: Glide;
}

/** Switches 0 and 1: one moves the diffuser, one tells whether it is in place. All go from 0 to 1. */
export class SwitchDevice extends SimAlpacaDevice {
  protected override readonly stateNames: readonly string[] = [];
  readonly #switches: readonly SwitchFacts[];
  readonly #cancelled = new Set<number>();

  constructor(identity: Identity, world: World, options: DeviceOptions, diffuserName: string) {
    super(identity, world, options, "Simulated switches");
    const { diffuser } = world;
    this.#switches = [
      {
        name: diffuserName,
        description: "Moves the diffuser: 1 into the light, 0 out of it",
        read: () => Math.round(diffuser.reported),
        mover: diffuser,
      },
      {
        name: `${diffuserName} in place`,
        description: "Limit switch of the diffuser",
        read: () => (diffuser.reported === 1 ? 1 : 0),
      },
    ];
    this.members.reads("maxswitch", () => this.#switches.length);
    this.members.readsWith("canwrite", id, ({ Id }) => this.#at(Id).mover !== undefined);
    this.members.readsWith("getswitch", id, ({ Id }) => this.#at(Id).read() === 1);
    this.members.readsWith("getswitchvalue", id, ({ Id }) => this.#at(Id).read());
    this.members.readsWith("getswitchname", id, ({ Id }) => this.#at(Id).name);
    this.members.readsWith("getswitchdescription", id, ({ Id }) => this.#at(Id).description);
    for (const [name, value] of Object.entries({ minswitchvalue: 0, maxswitchvalue: 1, switchstep: 1 })) {
      this.members.readsWith(name, id, ({ Id }) => {
        this.#at(Id);
        return value;
      });
    }
    this.members.writes("setswitch", { ...id, State: "boolean" }, ({ Id, State }) =>
      this.#set(Id, State ? 1 : 0),
    );
    this.members.writes("setswitchvalue", { ...id, Value: "number" }, ({ Id, Value }) =>
      this.#set(Id, Value),
    );
    this.members.writes("setswitchname", { ...id, Name: "text" }, ({ Id }) => {
      this.#at(Id);
      throw notImplemented("setswitchname");
    });
    if (this.isNew) this.#addAsynchronous();
  }

  protected override state(): Record<string, unknown> {
    return Object.fromEntries(
      this.#switches.flatMap(({ read, mover }, i) => [
        [`GetSwitch${i}`, read() === 1],
        [`GetSwitchValue${i}`, read()],
        [`StateChangeComplete${i}`, !mover?.moving],
      ]),
    );
  }

  #addAsynchronous(): void {
    this.members.readsWith("canasync", id, ({ Id }) => this.#at(Id).mover !== undefined);
    this.members.readsWith("statechangecomplete", id, ({ Id }) => {
      const one = this.#at(Id);
      if (this.#cancelled.delete(Id)) throw cancelled(`the change of ${one.name}`);
      return !one.mover?.moving;
    });
    this.members.writes("setasync", { ...id, State: "boolean" }, ({ Id, State }) => {
      this.#start(Id, State ? 1 : 0);
    });
    this.members.writes("setasyncvalue", { ...id, Value: "number" }, ({ Id, Value }) => {
      this.#start(Id, Value);
    });
    this.members.writes("cancelasync", id, ({ Id }) => {
      const { name, mover } = this.#at(Id);
      if (!mover) throw notImplemented(`a change of ${name}`);
      if (!mover.moving) return;
      mover.stop();
      this.#cancelled.add(Id);
    });
  }

  /** @throws AscomError 0x401 */
  #at(id: number): SwitchFacts {
    const found = this.#switches[id];
    if (found) return found;
    throw invalidValue(`there is no switch ${id}; they go from 0 to ${this.#switches.length - 1}`);
  }

  /** A value between the steps goes to the nearest. */
  #start(id: number, value: number): Glide {
    const { name, mover } = this.#at(id);
    if (!mover) throw notImplemented(`writing to ${name}`);
    checkedNumber(name, value, 0, 1);
    this.#cancelled.delete(id);
    mover.moveTo(value < 0.5 ? 0 : 1);
    return mover;
  }

  /** The synchronous way: the reply comes when the motion has ended. */
  #set(id: number, value: number): Promise<void> {
    const mover = this.#start(id, value);
    return this.world.until(() => !mover.moving);
  }
}
