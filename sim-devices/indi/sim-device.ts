import type { World } from "../scene/world.ts";
import type { XmlElement } from "./element-parser.ts";
import { readNumber } from "./number-text.ts";
import { Ticker } from "./ticker.ts";
import {
  type NumberVector,
  putNamed,
  type SwitchVector,
  selectSwitch,
  switchVector,
  type TextVector,
  textVector,
  type Vector,
  type VectorHead,
} from "./vector.ts";
import { defXml, delXml, messageXml, setXml } from "./vector-xml.ts";

/** What a driver writes: the parts of one XML element, and what a server needs to route it. */
export interface DriverMessage {
  readonly tag: string;
  readonly device: string;
  /** Empty when the message is about the whole device. */
  readonly name: string;
  readonly parts: readonly (string | Uint8Array)[];
}

/** What a client sends for some elements of a vector. */
export type NewValues<V> = ReadonlyMap<string, V>;

type SettableVector = NumberVector | SwitchVector | TextVector;
type ValueOf<V extends SettableVector> = V["elements"][number]["value"];

interface Handler {
  readonly vector: SettableVector;
  readonly act: (values: NewValues<never>) => void;
}

const switchStates: Readonly<Record<string, boolean>> = { On: true, Off: false };

/**
 * One INDI device, behaving as drivers on the reference library do: general vectors always, the others after
 * CONNECT, read-only and unknown names dropped in silence, bad values answered by messages.
 */
export abstract class SimDevice {
  readonly #always: Vector[] = [];
  readonly #whenConnected: Vector[] = [];
  readonly #handlers = new Map<string, Handler>();
  readonly #onConnect: (() => void)[] = [];
  readonly #onDisconnect: (() => void)[] = [];
  readonly #connection: SwitchVector;
  #send: (message: DriverMessage) => void = () => {};

  constructor(
    readonly name: string,
    protected readonly world: World,
    info: { readonly driver: string; readonly interfaceBits: number },
  ) {
    this.#connection = switchVector({ name: "CONNECTION", label: "Connection", group: "Main Control" }, [
      ["CONNECT", "Connect"],
      ["DISCONNECT", "Disconnect", true],
    ]);
    this.on(this.#connection, (values) => this.#setConnection(values), "always");
    this.show(
      textVector({ name: "DRIVER_INFO", label: "Driver Info", group: "General Info", perm: "ro" }, [
        ["DRIVER_NAME", "Name", name],
        ["DRIVER_EXEC", "Exec", info.driver],
        ["DRIVER_VERSION", "Version", "1.0"],
        ["DRIVER_INTERFACE", "Interface", String(info.interfaceBits)],
      ]),
      "always",
    );
  }

  get connected(): boolean {
    return this.#connection.elements[0]?.value ?? false;
  }

  /** All rw vectors that keep a value, for the world's account. */
  settings(): Record<string, unknown> {
    const kept: Record<string, unknown> = {};
    for (const vector of [...this.#always, ...this.#whenConnected]) {
      if (vector.kind === "Light" || vector.kind === "BLOB" || vector.perm !== "rw") continue;
      if (vector.kind === "Switch" && vector.rule === "AtMostOne") continue; // buttons, not settings
      if (this.volatile.has(vector.name)) continue;
      kept[vector.name] = vector.elements.map((e) => e.value).join(" ");
    }
    return kept;
  }

  /** Vectors whose value is a reading or a command rather than a setting. */
  protected readonly volatile: ReadonlySet<string> = new Set();

  attach(send: (message: DriverMessage) => void): void {
    this.#send = send;
  }

  /** Answers getProperties: all that is defined now, or one vector. */
  define(only?: string): void {
    for (const vector of this.#always) if (only === undefined || vector.name === only) this.#sendDef(vector);
    if (!this.connected) return;
    for (const vector of this.#whenConnected)
      if (only === undefined || vector.name === only) this.#sendDef(vector);
  }

  receive(command: XmlElement): void {
    const handler = this.#handlers.get(command.attributes.name ?? "");
    if (!handler || command.tag !== `new${handler.vector.kind}Vector` || handler.vector.perm === "ro") return;
    // A property that went with DISCONNECT is still carried out by the library; ours are not connected to anything.
    if (!this.#defined().includes(handler.vector)) return;
    const values = this.#read(command, handler.vector);
    if (values) handler.act(values as NewValues<never>);
  }

  /** The driver process is gone: nothing more is said, and what it ran itself has ended. */
  die(): void {
    if (this.connected) for (const act of this.#onDisconnect) act();
    // The one that is started after it knows of no command under way.
    for (const vector of [...this.#always, ...this.#whenConnected])
      if (vector.state === "Busy") vector.state = "Idle";
    selectSwitch(this.#connection, "DISCONNECT");
    this.#connection.state = "Idle";
  }

  /** At the end of CONNECT, before the definitions go out. */
  protected whenConnected(act: () => void): void {
    this.#onConnect.push(act);
  }
  protected whenDisconnected(act: () => void): void {
    this.#onDisconnect.push(act);
  }

  /** Repeats while the device is connected and there is a time to the next tick [s]. */
  protected poll(period: () => number | undefined, tick: () => void): Ticker {
    const ticker = new Ticker(this.world.clock, period, tick);
    this.whenConnected(() => ticker.kick());
    this.whenDisconnected(() => ticker.stop());
    return ticker;
  }

  /** Calls back when a motion of that part ends or is stopped, while the device is connected. */
  protected whenAtRest(part: string, act: (hasArrived: boolean) => void): void {
    this.world.listen((moment) => {
      if (moment.part !== part || !this.connected) return;
      if (moment.what === "moveEnded" || moment.what === "moveStopped") act(moment.what === "moveEnded");
    });
  }

  protected show(vector: Vector, when: "always" | "connected" = "connected"): void {
    (when === "always" ? this.#always : this.#whenConnected).push(vector);
  }

  /** Shows a vector that clients may set. */
  protected on<V extends SettableVector>(
    vector: V,
    act: (values: NewValues<ValueOf<V>>) => void,
    when?: "always",
  ): void {
    this.show(vector, when);
    this.#handlers.set(vector.name, { vector, act });
  }

  /** Shows a setting that has only to be kept. */
  protected keep(vector: SettableVector, afterwards: () => void = () => {}, when?: "always"): void {
    const act = (values: NewValues<never>) => {
      const isTaken =
        vector.kind === "Number" ? this.takeNumbers(vector, values) : this.takeSettings(vector, values);
      if (isTaken || vector.kind === "Switch") this.set(vector, "Ok");
      if (isTaken) afterwards();
    };
    this.on(vector, act as (values: NewValues<unknown>) => void, when);
  }

  /** Shows a switch that does something and keeps nothing. */
  protected addButton(head: VectorHead, element: readonly [string, string], act: () => void): void {
    const vector = switchVector({ ...head, rule: "AtMostOne" }, [element]);
    this.on(vector, () => {
      act();
      this.set(vector, "Ok");
    });
  }

  /** Sends the vector as it is now, with a state if one is given. */
  protected set(vector: Vector, state?: Vector["state"], message?: string): void {
    if (state) vector.state = state;
    vector.refresh?.();
    this.#say(`set${vector.kind}Vector`, vector.name, setXml(this.name, vector, this.#nowMs, message));
  }

  protected message(level: "INFO" | "WARNING" | "ERROR", text: string): void {
    this.#say("message", "", messageXml(this.name, `[${level}] ${text}`, this.#nowMs));
  }

  protected sendBlob(vector: string, parts: readonly (string | Uint8Array)[]): void {
    this.#send({ tag: "setBLOBVector", device: this.name, name: vector, parts });
  }

  /**
   * Takes numbers that lie within their limits. Otherwise answers as the library does: Alert with the reason,
   * and then Ok with the old values.
   */
  protected takeNumbers(vector: NumberVector, values: NewValues<number>): boolean {
    for (const { name, min, max } of vector.elements) {
      const value = values.get(name);
      if (value === undefined || (value >= min && value <= max)) continue;
      const range = `Valid range is from ${min} to ${max}`;
      this.set(vector, "Alert", `Error: Invalid range for ${name}. ${range}. Requested value is ${value}`);
      this.set(vector, "Ok");
      return false;
    }
    putNamed(vector, values);
    return true;
  }

  /** A setting of switches or texts that only has to be kept. @returns whether it changed to something allowed */
  protected takeSettings<V extends SwitchVector | TextVector>(
    vector: V,
    values: NewValues<ValueOf<V>>,
  ): boolean {
    if (vector.kind === "Text" || vector.rule === "AnyOfMany") {
      putNamed<unknown>(vector, values);
      return true;
    }
    const on = [...values].filter(([, value]) => value);
    const name = on[0]?.[0];
    if (on.length !== 1 || name === undefined) {
      this.message("ERROR", `Invalid switch for property ${vector.name}: ${on.length} switches are on.`);
      return false;
    }
    selectSwitch(vector, name);
    return true;
  }

  get #nowMs(): number {
    return this.world.clock.nowMs();
  }

  #defined(): readonly Vector[] {
    return this.connected ? [...this.#always, ...this.#whenConnected] : this.#always;
  }

  #sendDef(vector: Vector): void {
    vector.refresh?.();
    this.#say(`def${vector.kind}Vector`, vector.name, defXml(this.name, vector, this.#nowMs));
  }

  #say(tag: string, name: string, xml: string): void {
    this.#send({ tag, device: this.name, name, parts: [xml] });
  }

  /** Texts are taken as they come; numbers and switches that cannot be read are answered by messages. */
  #read(command: XmlElement, vector: SettableVector): NewValues<unknown> | undefined {
    const sent = command.children.map(
      ({ attributes, text }) => [attributes.name ?? "", text.trim()] as const,
    );
    if (vector.kind === "Text") return new Map(sent);
    const values = new Map<string, number | boolean>();
    for (const [element, text] of sent) {
      if (!vector.elements.some((e) => e.name === element)) {
        this.message("ERROR", `Error: ${element} is not a member of ${vector.name} property.`);
        continue;
      }
      const value = vector.kind === "Number" ? readNumber(text) : switchStates[text];
      if (value === undefined) this.message("ERROR", `${vector.name}: Bad format ${text}`);
      else values.set(element, value);
    }
    if (values.size > 0) return values;
    this.message("ERROR", `${vector.name}: ${command.tag} with no valid members`);
    return undefined;
  }

  #setConnection(values: NewValues<boolean>): void {
    const wish = values.get("CONNECT") ? "CONNECT" : values.get("DISCONNECT") ? "DISCONNECT" : undefined;
    if (!wish) return; // both Off: the library does not answer
    const was = this.connected;
    if (wish === "CONNECT") {
      selectSwitch(this.#connection, "CONNECT");
      if (!was) for (const act of this.#onConnect) act();
      this.set(this.#connection, "Ok");
      if (!was) for (const vector of this.#whenConnected) this.#sendDef(vector);
    } else {
      if (was) for (const act of this.#onDisconnect) act();
      selectSwitch(this.#connection, "DISCONNECT");
      this.set(this.#connection, "Idle");
      if (!was) return;
      for (const { name } of this.#whenConnected) {
        this.#say("delProperty", name, delXml(this.name, name, this.#nowMs));
      }
    }
  }
}
