import type { MqttClient } from "mqtt";
import type { Clock } from "../../../../drivers/kit/clock.ts";
import type { BrokerEntry } from "../../../../plans/notices-file.ts";
import { connectBroker, rigTopics } from "../broker.ts";
import { noticeJson } from "../notice.ts";
import type { NoticeSender } from "../notice-sender.ts";

/** A broker that comes back within it never says that the rig was lost [s]. */
const lostAfterSeconds = 20;
const endSeconds = 3;
const kept = { qos: 1, retain: true } as const;

/**
 * Shows on a broker how the rig stands and that its service is there, and sends notices. Only the latest state is kept for a
 * broker that is away; notices wait in the ledger.
 * @param isThere false: nothing of a rig is shown, only notices are sent
 */
export function mqttSender(
  entry: BrokerEntry,
  rig: string,
  clock: Clock,
  { isThere = true } = {},
): NoticeSender {
  const topics = rigTopics(entry.topic, rig);
  let state: string | undefined;
  let client: Promise<MqttClient> | undefined;
  const publishNow = (one: MqttClient) => {
    if (isThere) one.publish(topics.present, "yes", kept, () => {});
    if (state !== undefined) one.publish(topics.state, state, kept, () => {});
  };
  const open = async () => {
    const will = {
      topic: topics.present,
      payload: Buffer.from("lost"),
      ...kept,
      properties: { willDelayInterval: lostAfterSeconds },
    };
    const properties = { sessionExpiryInterval: lostAfterSeconds };
    const one = await connectBroker(entry, isThere ? { will, properties } : {});
    one.on("connect", () => publishNow(one));
    one.on("error", () => {}); // told by who waits for it
    return one;
  };
  const ready = () => {
    client ??= open();
    client.catch(() => {
      client = undefined; // a file that could not be read may be put right
    });
    return client;
  };
  return {
    showState(json) {
      state = json;
      void ready().then(
        (one) => one.connected && one.publish(topics.state, json, kept, () => {}),
        () => {},
      );
    },
    async send(notice, signal) {
      const one = await ready();
      // Not into the library's own queue: what waits, waits in the ledger.
      if (!one.connected) await untilConnected(one, signal);
      await one.publishAsync(topics.notice, noticeJson(notice), {
        qos: 1,
        properties: { contentType: "application/json" },
      });
    },
    async close() {
      const one = await client?.catch(() => undefined);
      if (!one) return;
      const said =
        isThere && one.connected ? one.publishAsync(topics.present, "stopped", kept) : Promise.resolve();
      await Promise.race([said.catch(() => {}), clock.sleep(endSeconds)]);
      // Only an orderly end keeps the broker from sending the will.
      await Promise.race([one.endAsync().catch(() => {}), clock.sleep(endSeconds)]);
      await one.endAsync(true).catch(() => {});
    },
  };
}

/** @throws why the broker takes nobody, as soon as it says so; the client goes on trying */
function untilConnected(client: MqttClient, signal: AbortSignal): Promise<void> {
  const { promise, resolve, reject } = Promise.withResolvers<void>();
  const connected = () => resolve();
  const failed = (error: Error) => reject(new Error(`the broker is not reached (${error.message})`));
  const aborted = () => reject(signal.reason as Error);
  client.on("connect", connected).on("error", failed);
  signal.addEventListener("abort", aborted, { once: true });
  return promise.finally(() => {
    client.off("connect", connected).off("error", failed);
    signal.removeEventListener("abort", aborted);
  });
}
