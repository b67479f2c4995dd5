import type { Clock } from "../../drivers/kit/clock.ts";
import type { XmlElement } from "./element-parser.ts";
import { readNumber } from "./number-text.ts";
import {
  type NumberVector,
  type SwitchVector,
  selectSwitch,
  switchVector,
  type TextVector,
  textVector,
  type Vector,
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

export type NumbersAsked = ReadonlyMap<string, number>;
export type SwitchesAsked = ReadonlyMap<string, boolean>;
export type TextsAsked = ReadonlyMap<string, string>;

type Handler =
  | { readonly kind: "Number"; readonly vector: NumberVector; readonly act: (asked: NumbersAsked) => void }
  | { readonly kind: "Switch"; readonly vector: SwitchVector; readonly act: (asked: SwitchesAsked) => void }
  | { readonly kind: "Text"; readonly vector: TextVector; readonly act: (asked: TextsAsked) => void };

/**
 * One INDI device, behaving as drivers on the reference library do: general vectors always, the others after
 * CONNECT, read-only and unknown names dropped in silence, bad values answered by messages.
 */
export abstract class SimDevice {
  readonly #always: Vector[] = [];
  readonly #whenConnected: Vector[] = [];
  readonly #handlers = new Map<string, Handler>();
  readonly #connection: SwitchVector;
  #send: (message: DriverMessage) => void = () => {};

  constructor(
    readonly name: string,
    protected readonly clock: Clock,
    info: { readonly driver: string; readonly interfaceBits: number },
  ) {
    this.#connection = switchVector({ name: "CONNECTION", label: "Connection", group: "Main Control" }, [
      ["CONNECT", "Connect"],
      ["DISCONNECT", "Disconnect", true],
    ]);
    this.onSwitch(this.#connection, (asked) => this.#setConnection(asked), "always");
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
    for (const vector of this.#defined()) {
      if (only !== undefined && vector.name !== only) continue;
      this.#sendDef(vector);
    }
  }

  receive(command: XmlElement): void {
    const kind = /^new(Number|Switch|Text)Vector$/.exec(command.tag)?.[1];
    const handler = this.#handlers.get(command.attributes.name ?? "");
    if (!kind || handler?.kind !== kind || handler.vector.perm === "ro") return;
    // A property that went with DISCONNECT is still carried out by the library; ours are not connected to anything.
    if (!this.#defined().includes(handler.vector)) return;
    if (handler.kind === "Text") {
      handler.act(new Map(command.children.map((c) => [c.attributes.name ?? "", c.text.trim()])));
    } else if (handler.kind === "Number") {
      const asked = this.#read(command, handler.vector, readNumber);
      if (asked) handler.act(asked);
    } else {
      const asked = this.#read(command, handler.vector, (text) =>
        text.trim() === "On" ? true : text.trim() === "Off" ? false : undefined,
      );
      if (asked) handler.act(asked);
    }
  }

  /** The driver process is gone: nothing more is said, and what it ran itself has ended. */
  die(): void {
    if (this.connected) this.whenDisconnected();
    selectSwitch(this.#connection, "DISCONNECT");
    this.#connection.state = "Idle";
  }

  /** Called at the end of CONNECT, before the definitions go out. */
  protected whenConnected(): void {}
  protected whenDisconnected(): void {}

  protected show(vector: Vector, when: "always" | "connected" = "connected"): void {
    (when === "always" ? this.#always : this.#whenConnected).push(vector);
  }

  protected onNumber(vector: NumberVector, act: (asked: NumbersAsked) => void, when?: "always"): void {
    this.show(vector, when);
    this.#handlers.set(vector.name, { kind: "Number", vector, act });
  }
  protected onSwitch(vector: SwitchVector, act: (asked: SwitchesAsked) => void, when?: "always"): void {
    this.show(vector, when);
    this.#handlers.set(vector.name, { kind: "Switch", vector, act });
  }
  protected onText(vector: TextVector, act: (asked: TextsAsked) => void, when?: "always"): void {
    this.show(vector, when);
    this.#handlers.set(vector.name, { kind: "Text", vector, act });
  }

  /** Sends the vector as it is now, with a state if one is given. */
  protected set(vector: Exclude<Vector, { kind: "BLOB" }>, state?: Vector["state"], message?: string): void {
    if (state) vector.state = state;
    vector.refresh?.();
    this.#say(`set${vector.kind}Vector`, vector.name, setXml(this.name, vector, this.clock.nowMs(), message));
  }

  protected message(level: "INFO" | "WARNING" | "ERROR", text: string): void {
    this.#say("message", "", messageXml(this.name, `[${level}] ${text}`, this.clock.nowMs()));
  }

  protected sendBlob(vector: string, parts: readonly (string | Uint8Array)[]): void {
    this.#send({ tag: "setBLOBVector", device: this.name, name: vector, parts });
  }

  /**
   * Takes numbers that lie within their limits. Otherwise answers as the library does: Alert with the reason,
   * and then Ok with the old values.
   */
  protected takeNumbers(vector: NumberVector, asked: NumbersAsked): boolean {
    for (const element of vector.elements) {
      const value = asked.get(element.name);
      if (value === undefined) continue;
      if (!(value >= element.min && value <= element.max)) {
        const range = `Valid range is from ${element.min} to ${element.max}`;
        this.set(
          vector,
          "Alert",
          `Error: Invalid range for ${element.name}. ${range}. Requested value is ${value}`,
        );
        this.set(vector, "Ok");
        return false;
      }
    }
    for (const element of vector.elements) element.value = asked.get(element.name) ?? element.value;
    return true;
  }

  /** A setting of switches that only has to be kept. @returns whether it changed to something allowed */
  protected takeSwitches(vector: SwitchVector, asked: SwitchesAsked): boolean {
    if (vector.rule === "AnyOfMany") {
      for (const element of vector.elements) element.value = asked.get(element.name) ?? element.value;
      return true;
    }
    const on = [...asked].filter(([, value]) => value);
    const name = on[0]?.[0];
    if (on.length !== 1 || name === undefined) {
      this.message("ERROR", `Invalid switch for property ${vector.name}: ${on.length} switches are on.`);
      return false;
    }
    selectSwitch(vector, name);
    return true;
  }

  #defined(): readonly Vector[] {
    return this.connected ? [...this.#always, ...this.#whenConnected] : this.#always;
  }

  #sendDef(vector: Vector): void {
    vector.refresh?.();
    this.#say(`def${vector.kind}Vector`, vector.name, defXml(this.name, vector, this.clock.nowMs()));
  }

  #say(tag: string, name: string, xml: string): void {
    this.#send({ tag, device: this.name, name, parts: [xml] });
  }

  #read<V>(
    command: XmlElement,
    vector: Vector,
    read: (text: string) => V | undefined,
  ): Map<string, V> | undefined {
    const asked = new Map<string, V>();
    for (const child of command.children) {
      const element = child.attributes.name ?? "";
      if (!vector.elements.some((e) => e.name === element)) {
        this.message("ERROR", `Error: ${element} is not a member of ${vector.name} property.`);
        continue;
      }
      const value = read(child.text);
      if (value === undefined) this.message("ERROR", `${vector.name}: Bad format ${child.text.trim()}`);
      else asked.set(element, value);
    }
    if (asked.size > 0) return asked;
    this.message("ERROR", `${vector.name}: ${command.tag} with no valid members`);
    return undefined;
  }

  #setConnection(asked: SwitchesAsked): void {
    const wish = asked.get("CONNECT") ? "CONNECT" : asked.get("DISCONNECT") ? "DISCONNECT" : undefined;
    if (!wish) return; // both Off: the library does not answer
    const was = this.connected;
    if (wish === "CONNECT") {
      selectSwitch(this.#connection, "CONNECT");
      if (!was) this.whenConnected();
      this.set(this.#connection, "Ok");
      if (!was) for (const vector of this.#whenConnected) this.#sendDef(vector);
    } else {
      if (was) this.whenDisconnected();
      selectSwitch(this.#connection, "DISCONNECT");
      this.set(this.#connection, "Idle");
      if (!was) return;
      for (const vector of this.#whenConnected) {
        this.#say("delProperty", vector.name, delXml(this.name, vector.name, this.clock.nowMs()));
      }
    }
  }
}
