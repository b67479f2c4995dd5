import type { ByteLink } from "../../drivers/kit/links.ts";
import { VirtualClock } from "../../drivers/kit/virtual-clock.ts";
import { ElementParser, type XmlElement } from "../../sim-devices/indi/element-parser.ts";
import type { MechanicsSpec } from "../../sim-devices/scene/mechanics/mechanics-spec.ts";
import { demoScene } from "../../sim-devices/scene/spec/demo-scene.ts";
import { overrideScene, type SceneOverrides } from "../../sim-devices/scene/spec/override-scene.ts";
import { World } from "../../sim-devices/scene/world.ts";
import { type Simulator, startSimulator } from "../../sim-devices/start-simulator.ts";

/** A small frame, so that pictures cost nothing; no errors of the mount unless asked for. */
export const smallScene: SceneOverrides = {
  camera: { widthPx: 64, heightPx: 48 },
  startsWith: { region: { xPx: 0, yPx: 0, widthPx: 64, heightPx: 48 } },
  mount: {
    pointingErrorDegrees: { east: 0, north: 0 },
    driftArcsecPerSecond: { east: 0, north: 0 },
    backlashArcsec: { east: 0, north: 0 },
  },
};

export function smallSpec(overrides: SceneOverrides = {}) {
  return overrideScene(overrideScene(demoScene, smallScene), overrides);
}

/** A world alone, with pictures of one grey pixel. */
export function bareWorld(overrides: SceneOverrides = {}, mechanics: Partial<MechanicsSpec> = {}) {
  const spec = smallSpec(overrides);
  const clock = new VirtualClock(Date.parse(spec.startUtc));
  const world = new World({ spec, clock, mechanics, paint: () => new Uint16Array(1) });
  return { world, clock, spec, pass: (seconds: number) => clock.drive(clock.sleep(seconds)) };
}

/** One client of a simulator, by hand: text out, elements in. */
export class HandClient {
  readonly heard: XmlElement[] = [];
  bytesHeard = 0;
  ended = false;
  readonly #link: ByteLink;

  constructor(link: ByteLink) {
    this.#link = link;
    const parser = new ElementParser((element) => this.heard.push(element));
    void (async () => {
      try {
        for await (const bytes of link.incoming) {
          this.bytesHeard += bytes.length;
          parser.write(bytes);
        }
      } catch {
        // cut
      }
      this.ended = true;
    })();
  }

  async say(xml: string): Promise<void> {
    await this.#link.send(new TextEncoder().encode(xml));
  }
  async switchOn(device: string, property: string, element: string): Promise<void> {
    await this.say(
      `<newSwitchVector device="${device}" name="${property}"><oneSwitch name="${element}">On</oneSwitch></newSwitchVector>`,
    );
  }
  async numbers(device: string, property: string, values: Record<string, number | string>): Promise<void> {
    const ones = Object.entries(values).map(
      ([name, value]) => `<oneNumber name="${name}">${value}</oneNumber>`,
    );
    await this.say(
      `<newNumberVector device="${device}" name="${property}">${ones.join("")}</newNumberVector>`,
    );
  }
  /** Takes what was heard so far. */
  take(): XmlElement[] {
    return this.heard.splice(0);
  }
}

export interface Session {
  readonly simulator: Simulator;
  readonly clock: VirtualClock;
  readonly client: HandClient;
  pass(seconds: number): Promise<void>;
  another(): Promise<HandClient>;
}

/** A simulator in memory with one client that has asked for everything and connected those devices. */
export async function session(
  work: (session: Session) => Promise<void>,
  options: {
    connect?: readonly string[];
    overrides?: SceneOverrides;
    mechanics?: Partial<MechanicsSpec>;
  } = {},
): Promise<void> {
  const spec = smallSpec(options.overrides);
  const clock = new VirtualClock(Date.parse(spec.startUtc));
  const simulator = await startSimulator({
    spec,
    clock,
    ...(options.mechanics ? { mechanics: options.mechanics } : {}),
  });
  const another = async () => new HandClient(await simulator.openIndi(new AbortController().signal));
  const client = await another();
  await clock.drive(
    (async () => {
      if (options.connect) {
        await client.say('<getProperties version="1.7"/>');
        for (const device of options.connect) await client.switchOn(device, "CONNECTION", "CONNECT");
        await clock.sleep(0.2);
        client.take();
      }
      await work({ simulator, clock, client, another, pass: (seconds) => clock.sleep(seconds) });
      await simulator.close();
    })(),
  );
  if (clock.pendingTimers > 0) throw new Error(`${clock.pendingTimers} timers are left`);
}

/** What happened in short: `set CCD_EXPOSURE Busy`; messages are left out and repetitions told once. */
export function outline(elements: readonly XmlElement[], only?: RegExp): string[] {
  const lines = elements
    .filter((e) => e.tag !== "message" && (only === undefined || only.test(e.attributes.name ?? "")))
    .map((e) => {
      const on = e.children.filter((c) => c.text.trim() === "On").map((c) => c.attributes.name);
      const verb = /^(def|set|del|new)/.exec(e.tag)?.[1] ?? e.tag;
      return [verb, e.attributes.name, e.attributes.state, ...on].filter(Boolean).join(" ");
    });
  return lines.filter((line, i) => line !== lines[i - 1]);
}

export function numberIn(element: XmlElement | undefined, name: string): number {
  return Number(element?.children.find((c) => c.attributes.name === name)?.text);
}
