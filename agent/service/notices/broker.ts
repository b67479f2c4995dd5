import { readFileSync } from "node:fs";
import type { IClientOptions, MqttClient } from "mqtt";
import type { BrokerEntry } from "../../../plans/notices-file.ts";
import { readSecret } from "./secret-file.ts";

/** How long a broker may hear nothing of a client before it gives it up [s]. */
const keepaliveSeconds = 30;

/**
 * A client of an MQTT 5 broker, which goes on trying until it is ended. Its errors come as events: listen to `error`.
 * @throws what is wrong with a file of secrets or certificates
 */
export async function connectBroker(
  { broker, user, passwordFile, caFile }: Omit<BrokerEntry, "topic">,
  more: IClientOptions = {},
): Promise<MqttClient> {
  const { connect } = await import("mqtt");
  const { protocol, hostname, port } = new URL(broker);
  const isTls = protocol === "mqtts:";
  // By parts: of a whole address the library makes them by a function that Node warns of.
  return connect({
    protocol: isTls ? "mqtts" : "mqtt",
    host: hostname.replace(/^\[|\]$/g, ""),
    port: port === "" ? (isTls ? 8883 : 1883) : Number(port),
    protocolVersion: 5,
    clean: true,
    keepalive: keepaliveSeconds,
    reconnectPeriod: 5000,
    connectTimeout: 15_000,
    reconnectOnConnackError: true, // a broker that restarts may refuse for a moment
    queueQoSZero: false,
    ...(user === undefined ? {} : { username: user }),
    ...(passwordFile === undefined ? {} : { password: readSecret(passwordFile) }),
    ...(caFile === undefined ? {} : { ca: [readFileSync(caFile, "utf8")] }),
    ...more,
  });
}

/** What stands below the topic of the notices file for each rig; all but the notices are kept by the broker. */
export const rigTopics = (topic: string, rig: string) => ({
  /** How it stands (`rig-state.ts`). */
  state: `${topic}/${rig}/state`,
  /** `yes`, `stopped`, or `lost`: the last will, sent by the broker when it hears nothing any more. */
  present: `${topic}/${rig}/present`,
  notice: `${topic}/${rig}/notice`,
});
