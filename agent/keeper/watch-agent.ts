import type { Clock } from "../../drivers/kit/clock.ts";
import type { ByteLink } from "../../drivers/kit/links.ts";
import {
  type AgentWords,
  hearAgent,
  type KeeperWords,
  keeperVersion,
  sendWords,
  silenceSecondsMax,
} from "./keeper-words.ts";

export interface WatchTools {
  readonly clock: Clock;
  /** Of the rig that is kept. */
  readonly rig: string;
  /** Makes the rig safe, to its end. */
  readonly takeRig: (why: string) => Promise<void>;
}

/** `nothing to do`: it was never asked to watch, or not by one of ours. */
export type WatchEnded = "goodbye" | "took the rig" | "nothing to do";

/** What lies in the link unread, because this process itself was late, is read first [s]. */
const lateSeconds = 1;

/**
 * Watches over one agent for as long as its link lasts. From its hello on, silence or an end without a goodbye means that
 * nobody holds the rig: it is made safe then, and the agent is told, should it come back.
 */
export async function watchAgent(link: ByteLink, tools: WatchTools): Promise<WatchEnded> {
  const answer = (words: KeeperWords) => void sendWords(link, words).catch(() => {}); // the end of the link is heard
  const heard = new Heard(link, tools.clock);
  try {
    const hello = await heard.next(silenceSecondsMax);
    if (hello === undefined || hello === "silence" || hello.say !== "hello") return "nothing to do";
    const refusal = whyRefuse(hello, tools.rig);
    if (refusal !== undefined) {
      await sendWords(link, { say: "refused", why: refusal }).catch(() => {});
      return "nothing to do";
    }
    answer({ say: "welcome" });
    for (;;) {
      let words = await heard.next(silenceSecondsMax);
      if (words === "silence") words = await heard.next(lateSeconds);
      if (words === undefined || words === "silence") {
        const why = words ? `the agent was silent for ${silenceSecondsMax} s` : "the agent is gone";
        answer({ say: "took the rig", why });
        await tools.takeRig(why);
        return "took the rig";
      }
      if (words.say === "goodbye") return "goodbye";
      if (words.say === "beat") answer({ say: "heard", number: words.number });
    }
  } finally {
    await link.close();
  }
}

function whyRefuse(hello: Extract<AgentWords, { say: "hello" }>, rig: string): string | undefined {
  if (hello.version !== keeperVersion)
    return `it speaks version ${keeperVersion} and was spoken to in version ${hello.version}`;
  return hello.rig === rig ? undefined : `it keeps the rig ${rig}, not ${hello.rig}`;
}

/** The agent's words as they come, to be waited for no longer than wanted. */
class Heard {
  readonly #words: AsyncGenerator<AgentWords, undefined>;
  #coming: Promise<AgentWords | undefined> | undefined;

  constructor(
    link: ByteLink,
    readonly clock: Clock,
  ) {
    this.#words = hearAgent(link);
  }

  /** @returns `undefined` when the link has ended */
  async next(withinSeconds: number): Promise<AgentWords | "silence" | undefined> {
    this.#coming ??= this.#words.next().then(
      ({ value }) => value,
      () => undefined,
    );
    const { promise: silence, resolve } = Promise.withResolvers<"silence">();
    const timer = this.clock.setTimer(withinSeconds, () => resolve("silence"));
    const words = await Promise.race([this.#coming, silence]);
    timer.cancel();
    if (words !== "silence") this.#coming = undefined;
    return words;
  }
}
