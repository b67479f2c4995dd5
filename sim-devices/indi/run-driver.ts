import { ElementParser, type XmlElement } from "./element-parser.ts";
import type { SimDevice } from "./sim-device.ts";
import { xmlOf } from "./vector-xml.ts";

export interface DriverPipes {
  /** Ends when the server goes. */
  readonly input: AsyncIterable<Uint8Array>;
  readonly write: (bytes: string | Uint8Array) => void;
  readonly log: (line: string) => void;
}

export interface RunningDriver {
  /** Asks the server to pass on what another device says of a property. */
  snoop(wish: { device: string; name: string }): void;
  /** Resolves when the input ends, with the exit status that the reference library's drivers would have. */
  readonly ended: Promise<number>;
}

/** Speaks for devices on a pipe to a device server, as its driver program. */
export function runDriver(
  devices: readonly SimDevice[],
  pipes: DriverPipes,
  onOther: (element: XmlElement) => void = () => {},
): RunningDriver {
  for (const device of devices) {
    device.attach((message) => {
      for (const part of message.parts) pipes.write(part);
    });
  }
  let refused = false;
  const parser = new ElementParser((element) => {
    const { device = "", name = "", version } = element.attributes;
    if (element.tag === "getProperties") {
      if (!(Number(version) <= 1.7)) {
        pipes.log(`client version ${version ?? "missing"} is not 1.7 or less`);
        refused = true;
        return;
      }
      for (const d of devices)
        if (device === "" || device === d.name) d.define(name === "" ? undefined : name);
    } else if (element.tag.startsWith("new")) {
      for (const d of devices) if (d.name === device) d.receive(element);
    } else {
      onOther(element);
    }
  });
  const serve = async (): Promise<number> => {
    for await (const bytes of pipes.input) {
      parser.write(bytes);
      if (refused) return 1;
    }
    return 0;
  };
  return {
    snoop: ({ device, name }) => pipes.write(xmlOf("getProperties", { version: "1.7", device, name })),
    ended: serve().finally(() => {
      for (const device of devices) device.die();
    }),
  };
}
