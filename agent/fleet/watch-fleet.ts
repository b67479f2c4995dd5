import type { Clock } from "../../drivers/kit/clock.ts";
import type { BrokerEntry } from "../../plans/notices-file.ts";
import { connectBroker } from "../service/notices/broker.ts";
import { rigState } from "../service/notices/rig-state.ts";
import { withoutSecrets } from "../service/notices/secret-file.ts";
import type { RigOnBroker } from "./fleet-rows.ts";

/** Far more than a rig ever says of itself [bytes]. */
const messageBytesMost = 65_536;
/** More is somebody else's topic. */
const rigsMost = 10_000;
/** What the broker keeps comes at once; when it has been quiet for so long that was all [s]. */
const quietSeconds = 1;

/** All rigs on a broker, from the moment of connecting until it is disposed of. */
export interface FleetWatch extends AsyncDisposable {
  readonly rigs: ReadonlyMap<string, RigOnBroker>;
  /** Whether the broker is there just now. */
  isConnected(): boolean;
}

/**
 * Connects, and reads what the broker keeps of all rigs below a topic. What it is told after that is taken in as it comes.
 * @param withinSeconds for the connection
 * @throws Error when the broker takes nobody
 */
export async function watchFleet(
  entry: BrokerEntry,
  clock: Clock,
  { withinSeconds, signal }: { readonly withinSeconds: number; readonly signal: AbortSignal },
): Promise<FleetWatch> {
  const rigs = new Map<string, RigOnBroker>();
  let heardSeconds = clock.monotonicSeconds();
  const client = await connectBroker(entry, { properties: { maximumPacketSize: messageBytesMost } });
  const levels = entry.topic.split("/").length;
  client.on("message", (topic, payload) => {
    heardSeconds = clock.monotonicSeconds();
    const [rig, what] = topic.split("/").slice(levels);
    if (rig === undefined || (rigs.size >= rigsMost && !rigs.has(rig))) return;
    const before = rigs.get(rig) ?? { rig };
    if (what === "present") rigs.set(rig, { ...before, present: payload.toString("utf8").slice(0, 20) });
    if (what === "state") rigs.set(rig, { ...before, ...readState(rig, payload) });
    if (payload.length === 0) rigs.delete(rig); // how one is taken off a broker
  });
  const failed = Promise.withResolvers<never>();
  failed.promise.catch(() => {});
  client.on("error", (error) =>
    failed.reject(new Error(`the broker is not reached (${withoutSecrets(error.message)})`)),
  );
  const limit = new AbortController();
  const late = clock.sleep(withinSeconds, AbortSignal.any([limit.signal, signal])).then(() => {
    throw new Error(`the broker did not answer within ${withinSeconds} s`);
  });
  late.catch(() => {});
  const watch: FleetWatch = {
    rigs,
    isConnected: () => client.connected,
    [Symbol.asyncDispose]: () => client.endAsync(true),
  };
  try {
    const topics = [`${entry.topic}/+/state`, `${entry.topic}/+/present`];
    await Promise.race([client.subscribeAsync(topics, { qos: 1 }), failed.promise, late]);
    heardSeconds = clock.monotonicSeconds();
    for (let left = quietSeconds; left > 0; left = heardSeconds + quietSeconds - clock.monotonicSeconds())
      await clock.sleep(left, signal);
    return watch;
  } catch (error) {
    await watch[Symbol.asyncDispose]();
    throw error;
  } finally {
    limit.abort();
  }
}

/** Anybody who may write there may have written it. */
function readState(rig: string, payload: Buffer): Pick<RigOnBroker, "state" | "trouble"> {
  try {
    const state = rigState.parse(JSON.parse(payload.toString("utf8")));
    if (state.rig !== rig) return { state: undefined, trouble: "what stands there is another rig's" };
    return { state, trouble: undefined };
  } catch {
    return { state: undefined, trouble: "what it says can't be read; its version may be another one" };
  }
}
