import type { Command } from "commander";
import type { Clock } from "../../drivers/kit/clock.ts";
import { withDeadline } from "../../drivers/kit/deadline.ts";
import { noticeKinds, type Receiver } from "../../plans/notices-file.ts";
import type { NewNotice } from "../service/notices/notice.ts";
import type { Post } from "../service/notices/notice-desk.ts";
import { withoutSecrets } from "../service/notices/secret-file.ts";
import { postsOf } from "./notices-from-file.ts";
import { addCommand, type CommandHost, conclude, exitCodes, type Outcome, processHost } from "./outcome.ts";
import { noticesFromFile } from "./rig-from-file.ts";

const trySeconds = 45;

interface Told {
  readonly name: string;
  readonly way: string;
  readonly kinds: readonly string[];
  readonly quiet: string | null;
  /** Of `--try`: null when it got there. */
  readonly trouble?: string | null;
}

/** `evenfield notices`: who would be told what; with `try` each of them gets a notice now. @throws CommandError */
export async function describeNotices(
  file: string,
  { isTried, rig }: { readonly isTried: boolean; readonly rig: string },
  { clock }: Pick<CommandHost, "clock">,
  signal: AbortSignal,
): Promise<Outcome> {
  const notices = noticesFromFile(file);
  const posts = isTried ? await postsOf(notices, rig, clock, { isTrial: true }) : [];
  const troubles = await Promise.all(posts.map((post) => tryOnce(post, rig, clock, signal)));
  const to = notices.to.map((receiver, index): Told => {
    const { name, by, kinds = noticeKinds, quiet } = receiver;
    const hours = quiet ? `${quiet.fromLocalTime} to ${quiet.untilLocalTime}` : null;
    const told = { name, way: wayOf(by), kinds, quiet: hours };
    return isTried ? { ...told, trouble: troubles[index] ?? null } : told;
  });
  const failed = to.some(({ trouble }) => typeof trouble === "string");
  const text = to.map(lineOf).join("\n");
  return { exitCode: failed ? exitCodes.deviceFailed : exitCodes.done, result: { to }, text };
}

async function tryOnce(
  { receiver: { name }, sender }: Post,
  rig: string,
  clock: Clock,
  signal: AbortSignal,
): Promise<string | undefined> {
  const utcMs = clock.nowMs();
  const notice: NewNotice = {
    utcMs,
    kind: "service",
    phase: "happened",
    text: "This is a trial: notices get here. Nothing happened to any rig.",
  };
  try {
    const what = "take a notice";
    await withDeadline(clock, { device: name, what, withinSeconds: trySeconds, signal }, (limited) =>
      clock.hold(sender.send({ ...notice, id: 0, rig }, limited)),
    );
    return undefined;
  } catch (error) {
    signal.throwIfAborted();
    return withoutSecrets(error instanceof Error ? error.message : String(error));
  } finally {
    await sender.close?.().catch(() => {});
  }
}

function wayOf(by: Receiver["by"]): string {
  if ("webhook" in by) return `webhook ${by.webhook.address ?? `named in ${by.webhook.addressFile}`}`;
  if ("mqtt" in by) return `${by.mqtt.broker}, topic ${by.mqtt.topic}`;
  if ("mail" in by) return `mail to ${by.mail.to.join(", ")} by ${by.mail.host}:${by.mail.port}`;
  return `command ${by.command[0]}`;
}

function lineOf({ name, way, kinds, quiet, trouble }: Told): string {
  const what = kinds.length === noticeKinds.length ? "everything" : kinds.join(", ");
  const line = `${name}: ${way}; ${what}${quiet === null ? "" : `; in peace from ${quiet}`}`;
  if (trouble === undefined) return line;
  return `${line}\n  ${trouble === null ? "a trial notice got there" : `a trial notice did not get there: ${trouble}`}`;
}

export function registerNotices(program: Command, host: CommandHost = processHost): void {
  addCommand(program, "notices", "evenfield notices plans/serve/notices-example.yaml --try")
    .argument("<file>", "the notices file")
    .option("--try", "send each receiver a notice now, and say which got there")
    .option("--rig <name>", "the rig's name in that notice", "trial")
    .action((file: string, options: { try?: boolean; rig: string; json?: boolean }) =>
      conclude(host, { command: "notices", json: options.json }, (signal) =>
        describeNotices(file, { isTried: options.try === true, rig: options.rig }, host, signal),
      ),
    );
}
