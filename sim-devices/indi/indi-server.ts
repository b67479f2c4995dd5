import type { ClockTimer } from "../../drivers/kit/clock.ts";
import type { ByteLink } from "../../drivers/kit/links.ts";
import type { World } from "../scene/world.ts";
import { ClientDesk } from "./client-desk.ts";
import { ElementParser, type XmlElement } from "./element-parser.ts";
import type { DriverMessage, SimDevice } from "./sim-device.ts";
import { delXml, writeElement } from "./vector-xml.ts";

/** How long a driver is away between its death and its next start [s]; the reference server restarts at once. */
const restartSeconds = 0.05;

/** What lies between a driver and its clients, for faults: passes messages on, later, or not at all. */
export type DriverFilter = (message: DriverMessage, pass: (message: DriverMessage) => void) => void;

/** The same between a client and the driver that it commands. */
export type CommandFilter = (command: XmlElement, pass: (command: XmlElement) => void) => void;

/**
 * Serves devices to any number of clients over byte links, with the routing rules of the reference server:
 * who is told of what, who gets BLOBs, and new* commands echoed to the others.
 */
export class IndiServer {
  readonly #desks = new Set<ClientDesk>();
  readonly #filters = new Set<DriverFilter>();
  readonly #commandFilters = new Set<CommandFilter>();
  readonly #dead = new Set<string>();
  readonly #restarts = new Set<ClockTimer>();
  #downUntil: ClockTimer | undefined;

  constructor(
    readonly world: World,
    readonly devices: readonly SimDevice[],
  ) {
    for (const device of devices) {
      world.addSettings(device.name, () => device.settings());
      device.attach((message) => this.#fromDriver(message));
    }
  }

  /** Serves one client until its link ends. */
  readonly accept = (link: ByteLink): void => {
    const desk = new ClientDesk(link);
    this.#desks.add(desk);
    void this.#serve(desk, link);
  };

  get clientCount(): number {
    return this.#desks.size;
  }

  /** @returns how to take the filter away again */
  addFilter(filter: DriverFilter): () => void {
    this.#filters.add(filter);
    return () => this.#filters.delete(filter);
  }

  /** @returns how to take the filter away again */
  addCommandFilter(filter: CommandFilter): () => void {
    this.#commandFilters.add(filter);
    return () => this.#commandFilters.delete(filter);
  }

  /** Nothing listens. */
  get isDown(): boolean {
    return this.#downUntil !== undefined;
  }

  /** Cuts all links and takes no new one for so long. @param withDrivers the drivers end too and come back with nothing connected */
  takeDown(seconds: number, { withDrivers = false }: { readonly withDrivers?: boolean } = {}): void {
    this.#downUntil?.cancel();
    this.#downUntil = this.world.clock.setTimer(seconds, () => this.comeBack());
    if (withDrivers) for (const device of this.devices) device.die();
    void this.cutLinks();
  }

  /** Takes links again. */
  comeBack(): void {
    this.#downUntil?.cancel();
    this.#downUntil = undefined;
  }

  /** Breaks every client's connection. */
  async cutLinks(): Promise<void> {
    await Promise.all([...this.#desks].map((desk) => desk.close()));
  }

  /** Ends all clients and all that the drivers themselves keep running. */
  async close(): Promise<void> {
    for (const device of this.devices) device.die();
    this.comeBack();
    this.#restarts.forEach((timer) => {
      timer.cancel();
    });
    await this.cutLinks();
  }

  /** The driver process dies; the server says so, and starts it again unless told to leave it. */
  killDriver(name: string, options: { restart?: boolean } = {}): void {
    const device = this.#deviceCalled(name);
    if (this.#dead.has(name)) return;
    this.#dead.add(name);
    device.die();
    const { clock } = this.world;
    this.#announceGone(name);
    if (options.restart === false) return;
    const restart = clock.setTimer(restartSeconds, () => {
      this.#restarts.delete(restart);
      this.startDriver(name);
    });
    this.#restarts.add(restart);
  }

  /** Starts a driver that had died. */
  startDriver(name: string): void {
    if (this.#dead.delete(name)) this.#deviceCalled(name).define();
  }

  /** The driver takes its properties back and defines them again after that time, connected or not as it was. */
  redefine(name: string, afterSeconds: number): void {
    const device = this.#deviceCalled(name);
    if (this.#dead.has(name)) return;
    this.#announceGone(name);
    const again = this.world.clock.setTimer(afterSeconds, () => {
      this.#restarts.delete(again);
      device.define();
    });
    this.#restarts.add(again);
  }

  #deviceCalled(name: string): SimDevice {
    const device = this.devices.find((d) => d.name === name);
    if (!device) throw new RangeError(`no device is called ${name}`);
    return device;
  }

  #announceGone(name: string): void {
    const parts = [delXml(name, undefined, this.world.clock.nowMs())];
    this.#toClients({ tag: "delProperty", device: name, name: "", parts });
  }

  async #serve(desk: ClientDesk, link: ByteLink): Promise<void> {
    const parser = new ElementParser((element) => this.#fromClient(desk, element));
    try {
      for await (const bytes of link.incoming) parser.write(bytes);
    } catch {
      // A cut link or an endless element: either way this client is gone.
    } finally {
      this.#desks.delete(desk);
      await desk.close();
    }
  }

  #fromClient(desk: ClientDesk, element: XmlElement): void {
    const { tag, attributes } = element;
    const { device = "", name = "" } = attributes;
    desk.note(element);
    if (tag === "pingRequest") {
      desk.queue([`<pingReply uid="${(attributes.uid ?? "").replace(/[^\w.:-]/g, "")}"/>\n`]);
    } else if (tag === "getProperties") {
      this.#getProperties(attributes.version, device, name);
    } else if (tag.startsWith("new")) {
      this.world.noteCommand(device, name);
      this.#echo(desk, element);
      this.#toDrivers(element);
    }
  }

  #toDrivers(command: XmlElement): void {
    const filters = [...this.#commandFilters];
    const pass = (index: number, passed: XmlElement): void => {
      const filter = filters[index];
      if (filter) filter(passed, (next) => pass(index + 1, next));
      else for (const driver of this.#devicesCalled(passed.attributes.device ?? "")) driver.receive(passed);
    };
    pass(0, command);
  }

  #getProperties(version: string | undefined, device: string, name: string): void {
    for (const called of this.#devicesCalled(device)) {
      // As the reference library does: a driver that is asked in no version, or in a later one, exits.
      if (!(Number(version) <= 1.7)) this.killDriver(called.name);
      else called.define(name === "" ? undefined : name);
    }
  }

  #devicesCalled(name: string): readonly SimDevice[] {
    return this.devices.filter((d) => (name === "" || d.name === name) && !this.#dead.has(d.name));
  }

  #echo(from: ClientDesk, element: XmlElement): void {
    const { device = "", name = "" } = element.attributes;
    const parts = [writeElement(element)];
    for (const desk of this.#desks) {
      if (desk !== from && desk.wants({ device, name, isBlob: false })) desk.queue(parts);
    }
  }

  #fromDriver(message: DriverMessage): void {
    if (this.#dead.has(message.device)) return;
    const filters = [...this.#filters];
    const pass = (index: number, passed: DriverMessage): void => {
      const filter = filters[index];
      if (filter) filter(passed, (next) => pass(index + 1, next));
      else this.#toClients(passed);
    };
    pass(0, message);
  }

  #toClients(message: DriverMessage): void {
    const about = { device: message.device, name: message.name, isBlob: message.tag === "setBLOBVector" };
    for (const desk of this.#desks) if (desk.wants(about)) desk.queue(message.parts);
  }
}
