import type { Clock } from "../../../../drivers/kit/clock.ts";
import type { ReceiverWay } from "../../../../plans/notices-file.ts";
import type { NoticeSender } from "../notice-sender.ts";
import { commandSender } from "./run-command.ts";

/** The sender of a receiver; libraries are loaded only for the ways that are used, for they take memory. @param isTrial no rig is there */
export async function senderOf(
  by: ReceiverWay,
  rig: string,
  clock: Clock,
  { isTrial = false } = {},
): Promise<NoticeSender> {
  if ("command" in by) return commandSender(by.command);
  if ("webhook" in by) return (await import("./webhook.ts")).webhookSender(by.webhook);
  if ("mail" in by) return (await import("./mail.ts")).mailSender(by.mail);
  return (await import("./mqtt.ts")).mqttSender(by.mqtt, rig, clock, { isThere: !isTrial });
}
