import type { Clock } from "../../drivers/kit/clock.ts";
import { startStopwatch } from "../../drivers/kit/stopwatch.ts";
import { unlessAborted } from "../../drivers/kit/unless-aborted.ts";
import type { Cover, CoverState } from "../../drivers/roles/cover.ts";
import type { DrillPart } from "../run/ledger/drills.ts";
import { exitCodes } from "../run/record/exit-codes.ts";
import { AgentProcess, type ProcessEnded } from "./agent-process.ts";
import type { LinkRelay } from "./link-relay.ts";

export interface DrillTools {
  readonly clock: Clock;
  readonly signal: AbortSignal;
  /** Over a link of our own, which nothing cuts. */
  readonly cover: Cover;
  readonly relays: readonly LinkRelay[];
  /** Arguments of a run that opens the telescope and keeps it open; through the relays if asked for. */
  runArguments(throughRelays: boolean): readonly string[];
  readonly restoreArguments: readonly string[];
  /** For how long the link stays cut: longer than the agent bears silence [s]. */
  readonly cutSeconds: number;
  say(text: string): void;
}

export interface PartPlayed {
  readonly passed: boolean;
  /** The cover did not read closed at the end. */
  readonly leftOpen: boolean;
  readonly text: string;
}

/** From a start to the open cover; from the blow to the closed one; from there to a rig as it was found [s]. */
const limits = { openSeconds: 900, closedSeconds: 420, restoredSeconds: 3000 };
/** The telescope stands open for so long before it happens [s]. */
const openBeforeSeconds = 5;

/** One part of a drill: waits until the telescope is open, does it, and sees what becomes of it. */
export async function playPart(part: DrillPart, tools: DrillTools): Promise<PartPlayed> {
  const { clock, signal, say } = tools;
  const run = new AgentProcess(tools.runArguments(part === "link cut"));
  try {
    say(`${part}: a run opens the telescope.`);
    const opened = await until(tools, limits.openSeconds, (state) => state === "open" || run.isOver);
    if (run.isOver || opened === undefined) return await notOpened(run, tools);
    await clock.sleep(openBeforeSeconds, signal);
    say(`${part}: the telescope is open; now.`);
    const seconds = startStopwatch(clock);
    strike(part, run, tools);
    const closed = await until(tools, limits.closedSeconds, (state) => state === "closed");
    const closedAfter = closed && seconds();
    const restored = await untilRestored(part, run, tools);
    const state = await tools.cover.state(signal).catch((): CoverState => "unknown");
    const isClosed = state === "closed";
    const parts = [
      closedAfter === undefined
        ? `the cover did not read closed within ${limits.closedSeconds} s`
        : `the cover read closed after ${closedAfter.toFixed(0)} s`,
      restored.text,
      ...(isClosed ? [] : [`at the end the cover reads ${state}`]),
    ];
    return {
      passed: closedAfter !== undefined && restored.isBack && isClosed,
      leftOpen: !isClosed,
      text: parts.join("; "),
    };
  } finally {
    for (const relay of tools.relays) relay.mend();
    if (!run.isOver) run.signal("SIGTERM"); // it puts the rig back first
    await run.ended;
  }
}

function strike(part: DrillPart, run: AgentProcess, { relays, clock, cutSeconds }: DrillTools): void {
  if (part === "agent killed") run.signal("SIGKILL");
  else if (part === "terminal closed") run.signal("SIGHUP");
  else {
    for (const relay of relays) relay.cut();
    clock.setTimer(cutSeconds, () => {
      for (const relay of relays) relay.mend();
    });
  }
}

async function notOpened(run: AgentProcess, { cover, signal }: DrillTools): Promise<PartPlayed> {
  if (!run.isOver) run.signal("SIGTERM");
  const { exitCode, lastWords, result } = await run.ended;
  const state = await cover.state(signal).catch((): CoverState => "unknown");
  const why = typeof result?.happened === "string" ? result.happened : lastWords;
  return {
    passed: false,
    leftOpen: state !== "closed",
    text: `not made: the telescope was never seen open (the run ended with exit code ${exitCode}: ${why})`,
  };
}

async function untilRestored(part: DrillPart, run: AgentProcess, tools: DrillTools) {
  const { clock, signal } = tools;
  const ended = await within(limits.restoredSeconds, run.ended, clock, signal);
  if (part === "agent killed") {
    const restore = new AgentProcess(tools.restoreArguments);
    const { exitCode } = await unlessAborted(restore.ended, signal);
    const isBack = exitCode === exitCodes.done;
    return {
      isBack,
      text: `a new process ${isBack ? "put the rig back" : `could not put the rig back (exit code ${exitCode})`}`,
    };
  }
  if (!ended) return { isBack: false, text: `the run did not end within ${limits.restoredSeconds} s` };
  const left = leftOf(ended);
  const isBack = left.length === 0 && ended.exitCode !== exitCodes.notRestored && ended.result !== undefined;
  const how = isBack
    ? "with the rig as it was found"
    : `and the rig is not as it was found (${left.join(", ") || ended.lastWords})`;
  return { isBack, text: `the run ended with exit code ${ended.exitCode}, ${how}` };
}

function leftOf({ result }: ProcessEnded): readonly string[] {
  const settings = (result?.notAsFound ?? []) as readonly { device: string; key: string; state: string }[];
  const different = settings.filter(({ state }) => state === "different");
  return different.map(({ device, key }) => `${device} ${key}`);
}

/** Looks at the cover twice a second. @returns `undefined` when the time was up before */
async function until(
  { clock, signal, cover }: DrillTools,
  seconds: number,
  isSo: (state: CoverState) => boolean,
): Promise<true | undefined> {
  const passed = startStopwatch(clock);
  while (passed() < seconds) {
    const state = await cover.state(signal).catch((): CoverState => "unknown");
    signal.throwIfAborted();
    if (isSo(state)) return true;
    await clock.sleep(0.5, signal);
  }
  return undefined;
}

async function within<T>(
  seconds: number,
  work: Promise<T>,
  clock: Clock,
  signal: AbortSignal,
): Promise<T | undefined> {
  const tooLong = Promise.withResolvers<undefined>();
  const timer = clock.setTimer(seconds, () => tooLong.resolve(undefined));
  try {
    return await unlessAborted(Promise.race([work, tooLong.promise]), signal);
  } finally {
    timer.cancel();
  }
}
