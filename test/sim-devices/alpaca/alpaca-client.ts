import { VirtualClock } from "../../../drivers/kit/virtual-clock.ts";
import type { SimAlpacaServer } from "../../../sim-devices/alpaca/alpaca-server.ts";
import type { SimReply } from "../../../sim-devices/alpaca/reply.ts";
import type { MechanicsSpec } from "../../../sim-devices/scene/mechanics/mechanics-spec.ts";
import type { SceneOverrides } from "../../../sim-devices/scene/spec/override-scene.ts";
import type { SceneSpec } from "../../../sim-devices/scene/spec/scene-spec.ts";
import type { SceneDeviceOptions } from "../../../sim-devices/scene-devices.ts";
import { type Simulator, startSimulator } from "../../../sim-devices/start-simulator.ts";
import { replyProblems } from "../../outside/alpaca-description.ts";
import { smallSpec } from "../sim-session.ts";

export interface Told {
  readonly status: number;
  readonly contentType: string;
  readonly bytes: Uint8Array;
  readonly text: string;
  /** Of a JSON reply. */
  readonly value: unknown;
  readonly error: number | undefined;
  readonly client: number | undefined;
  readonly server: number | undefined;
}

export type Given = Readonly<Record<string, string | number | boolean>>;

/** One client by hand. Every reply is held against the published description. */
export class AlpacaClient {
  readonly problems: string[] = [];
  #transaction = 0;

  constructor(readonly server: SimAlpacaServer) {}

  get(path: string, given: Given = {}, accept = "application/json"): Promise<Told> {
    return this.send("GET", path, encoded({ ...this.#ids(), ...given }), accept);
  }

  put(path: string, given: Given = {}): Promise<Told> {
    return this.send("PUT", path, encoded({ ...this.#ids(), ...given }));
  }

  /** The value of a read that must succeed. */
  async value(path: string, given: Given = {}): Promise<unknown> {
    const told = await this.get(path, given);
    if (told.status !== 200 || told.error !== 0) throw new Error(`${path}: ${told.status} ${told.text}`);
    return told.value;
  }

  /** Of a write: its error number, or the status where it is not 200. */
  async outcome(path: string, given: Given = {}): Promise<number> {
    const told = await this.put(path, given);
    return told.status === 200 ? told.error! : told.status;
  }

  /** @param encodedParameters as they are, ids too */
  async send(
    method: string,
    path: string,
    encodedParameters = "",
    accept = "application/json",
  ): Promise<Told> {
    const whole = path.startsWith("/") ? path : `/api/v1/${path}`;
    const parameters =
      method === "GET" ? { query: encodedParameters, form: "" } : { query: "", form: encodedParameters };
    const reply = await this.server.answer({ method, path: whole, accept, ...parameters });
    const told = toldBy(reply);
    const found = replyProblems(
      { method, path: whole },
      { status: reply.status, contentType: reply.contentType, body: told.text },
    );
    this.problems.push(
      ...found.map((problem) => `${method} ${whole}: ${problem}: ${told.text.slice(0, 200)}`),
    );
    return told;
  }

  #ids(): Given {
    return { ClientID: 99, ClientTransactionID: ++this.#transaction };
  }
}

function toldBy({ status, contentType, body }: SimReply): Told {
  const isImage = contentType === "application/imagebytes";
  const text = isImage ? "" : new TextDecoder().decode(body);
  const json = contentType.startsWith("application/json")
    ? (JSON.parse(text) as Record<string, unknown>)
    : {};
  return {
    status,
    contentType,
    bytes: body,
    text,
    value: json.Value,
    error: json.ErrorNumber as number | undefined,
    client: json.ClientTransactionID as number | undefined,
    server: json.ServerTransactionID as number | undefined,
  };
}

export function encoded(given: Given): string {
  return Object.entries(given)
    .map(([name, value]) => `${name}=${encodeURIComponent(String(value))}`)
    .join("&");
}

export interface Bench {
  readonly client: AlpacaClient;
  readonly simulator: Simulator;
  readonly clock: VirtualClock;
  pass(seconds: number): Promise<void>;
}

/** A small scene, its Alpaca devices, and a client; whatever was answered must be right by the description. */
export async function onDevices(
  work: (bench: Bench) => Promise<void>,
  options: {
    readonly alpaca?: SceneDeviceOptions;
    readonly scene?: SceneOverrides;
    /** For what an override cannot say: that something is not there. */
    readonly change?: (spec: SceneSpec) => SceneSpec;
    readonly mechanics?: Partial<MechanicsSpec>;
    /** Paths of devices to connect first, like `camera/0`. */
    readonly connect?: readonly string[];
  } = {},
): Promise<void> {
  const { alpaca, scene, mechanics, change = (spec) => spec, connect = [] } = options;
  const spec = change(smallSpec(scene));
  const clock = new VirtualClock(Date.parse(spec.startUtc));
  const simulator = await startSimulator({
    spec,
    clock,
    ...(alpaca ? { alpaca } : {}),
    ...(mechanics ? { mechanics } : {}),
  });
  const client = new AlpacaClient(simulator.alpacaServer);
  const whole = async () => {
    for (const path of connect) await client.put(`${path}/connected`, { Connected: true });
    await work({ client, simulator, clock, pass: (seconds) => clock.sleep(seconds) });
    await simulator.close();
  };
  await clock.drive(whole());
  if (client.problems.length > 0) throw new Error(client.problems.join("\n"));
  if (clock.pendingTimers > 0) throw new Error(`${clock.pendingTimers} timers are left over`);
}
