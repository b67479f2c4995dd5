import { expect, test } from "vitest";
import { BeatenKeeper } from "../../../agent/keeper/beat-keeper.ts";
import { type AgentWords, keeperVersion, sendWords } from "../../../agent/keeper/keeper-words.ts";
import { type WatchEnded, watchAgent } from "../../../agent/keeper/watch-agent.ts";
import type { ByteLink } from "../../../drivers/kit/links.ts";
import { silentLog } from "../../../drivers/kit/log.ts";
import { memoryLinkPair, memoryOpener } from "../../../drivers/kit/memory-link.ts";
import { VirtualClock } from "../../../drivers/kit/virtual-clock.ts";

const hello: AgentWords = { say: "hello", version: keeperVersion, rig: "garden" };

/** A keeper of the rig garden, and the end of its link that an agent has. */
function watch(clock: VirtualClock) {
  const { near, far, cut } = memoryLinkPair();
  const taken: string[] = [];
  const ended = watchAgent(far, {
    clock,
    rig: "garden",
    takeRig: async (why) => {
      taken.push(`${why} (at ${clock.monotonicSeconds() - startSeconds} s)`);
    },
  });
  const startSeconds = clock.monotonicSeconds();
  return { agent: near, ended, taken, cut };
}

async function play(script: (agent: ByteLink, clock: VirtualClock, cut: () => void) => Promise<void>) {
  const clock = new VirtualClock(0);
  const { agent, ended, taken, cut } = watch(clock);
  const how: WatchEnded = await clock.drive(
    Promise.all([ended, script(agent, clock, cut)]).then(([end]) => end),
  );
  return { how, taken };
}

test("an agent that is heard of and says goodbye is left alone", async () => {
  const { how, taken } = await play(async (agent, clock) => {
    await sendWords(agent, hello);
    for (let number = 0; number < 20; number++) {
      await clock.sleep(9);
      await sendWords(agent, { say: "beat", number });
    }
    await sendWords(agent, { say: "goodbye" });
  });
  expect(how).toBe("goodbye");
  expect(taken).toEqual([]);
});

test("silence takes the rig after ten seconds", async () => {
  const { how, taken } = await play(async (agent) => sendWords(agent, hello));
  expect(how).toBe("took the rig");
  expect(taken).toEqual(["the agent was silent for 10 s (at 11 s)"]);
});

test.each([
  ["closed", (agent: ByteLink) => void agent.close()],
  ["cut", (_: ByteLink, cut: () => void) => cut()],
])("a link that is %s without a goodbye takes the rig at once", async (_, end) => {
  const { how, taken } = await play(async (agent, clock, cut) => {
    await sendWords(agent, hello);
    await clock.sleep(5);
    end(agent, cut);
  });
  expect(how).toBe("took the rig");
  expect(taken).toEqual(["the agent is gone (at 5 s)"]);
});

test.each([
  ["says nothing", undefined],
  ["does not begin with a hello", { say: "beat", number: 1 }],
  ["speaks another version", { ...hello, version: keeperVersion + 1 }],
  ["means another rig", { ...hello, rig: "roof" }],
  ["speaks something else", "GET / HTTP/1.1\r\n\r\n"],
] as const)("who %s is not watched over, and nothing is touched when it goes", async (_, words) => {
  const { how, taken } = await play(async (agent, clock) => {
    if (typeof words === "string") await agent.send(new TextEncoder().encode(words));
    else if (words) await sendWords(agent, words);
    await clock.sleep(20);
    await agent.close();
  });
  expect(how).toBe("nothing to do");
  expect(taken).toEqual([]);
});

/** The agent's own end against a far end that is played here. */
function beaten(clock: VirtualClock, rig = "garden") {
  const links: ByteLink[] = [];
  const taken: string[] = [];
  const open = memoryOpener((link) => {
    links.push(link);
    void watchAgent(link, { clock, rig: "garden", takeRig: async (why) => void taken.push(why) });
  });
  return { keeper: new BeatenKeeper({ name: "the keeper", rig, open, clock, log: silentLog }), links, taken };
}

test("an agent knows whether it is watched over: before, while, when refused, and when the keeper is gone", async () => {
  const clock = new VirtualClock(0);
  const { keeper, links, taken } = beaten(clock);
  expect(keeper.whyNotAlive()).toBe("the keeper: it was not asked to watch yet");
  await clock.drive(keeper.begin());
  await clock.drive(clock.sleep(100));
  expect(keeper.whyNotAlive()).toBeUndefined();
  await links[0]!.close();
  await clock.drive(clock.sleep(1));
  expect(keeper.whyNotAlive()).toBe("the keeper: it is gone");
  const other = beaten(clock, "roof").keeper;
  await clock.drive(other.begin());
  expect(other.whyNotAlive()).toBe("the keeper: it keeps the rig garden, not roof");
  expect(taken).toEqual(["the agent is gone"]); // its own link was closed under it
});

test.each([
  ["safe", []],
  ["not safe", ["the agent is gone"]],
] as const)("a rig that is left %s: who takes it over is told so", async (how, expected) => {
  const clock = new VirtualClock(0);
  const { keeper, taken } = beaten(clock);
  await clock.drive(keeper.begin());
  await clock.drive(keeper.release(how));
  await clock.drive(clock.sleep(1));
  expect(taken).toEqual(expected);
  expect(clock.pendingTimers).toBe(0);
});

test("a keeper that can't be reached is told as it is", async () => {
  const clock = new VirtualClock(0);
  const open = () => Promise.reject(new Error("connection refused"));
  const keeper = new BeatenKeeper({
    name: "the keeper at hut:7627",
    rig: "garden",
    open,
    clock,
    log: silentLog,
  });
  await clock.drive(keeper.begin());
  expect(keeper.whyNotAlive()).toBe("the keeper at hut:7627: connection refused");
});

test("a keeper that takes the link and never answers is none", async () => {
  const clock = new VirtualClock(0);
  const keeper = new BeatenKeeper({
    name: "the keeper",
    rig: "garden",
    open: memoryOpener(() => {}),
    clock,
    log: silentLog,
  });
  await clock.drive(keeper.begin());
  expect(keeper.whyNotAlive()).toBe("the keeper: it does not answer");
});
