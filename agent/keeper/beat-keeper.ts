import type { Clock } from "../../drivers/kit/clock.ts";
import type { ByteLink, OpenLink } from "../../drivers/kit/links.ts";
import type { Log } from "../../drivers/kit/log.ts";
import { startStopwatch } from "../../drivers/kit/stopwatch.ts";
import type { RigKeeper } from "../run/guard/rig-keeper.ts";
import {
  type AgentWords,
  beatEverySeconds,
  hearKeeper,
  type KeeperWords,
  keeperVersion,
  sendWords,
} from "./keeper-words.ts";

export interface BeatOptions {
  /** As a person knows it. */
  readonly name: string;
  readonly rig: string;
  readonly open: OpenLink;
  readonly clock: Clock;
  readonly log: Log;
}

/** A process is started within this, also on a busy computer [s]. */
const welcomeSecondsMax = 30;
/** A keeper that has not answered for so long is none [s]. */
const answerSecondsMax = 15;

/** The agent's end of a keeper: beats to it, and knows whether it answers. */
export class BeatenKeeper implements RigKeeper {
  #link: ByteLink | undefined;
  #why: string | undefined = "it was not asked to watch yet";
  #sinceHeard: () => number;
  #welcome = Promise.withResolvers<void>();
  readonly #over = new AbortController();

  constructor(readonly options: BeatOptions) {
    this.#sinceHeard = startStopwatch(options.clock);
  }

  get name(): string {
    return this.options.name;
  }

  async begin(): Promise<void> {
    const { clock, open, rig } = this.options;
    this.#why = "it does not answer";
    const late = clock.setTimer(welcomeSecondsMax, () => this.#welcome.resolve());
    try {
      this.#link = await open(this.#over.signal);
      void this.#hear(this.#link);
      await this.#send({ say: "hello", version: keeperVersion, rig });
      await this.#welcome.promise;
    } catch (error) {
      this.#lose(error instanceof Error ? error.message : String(error));
    } finally {
      late.cancel();
    }
    if (this.#why === undefined) void this.#beat();
  }

  whyNotAlive(): string | undefined {
    const silentSeconds = this.#sinceHeard();
    const why =
      this.#why ??
      (silentSeconds > answerSecondsMax
        ? `it has not answered for ${silentSeconds.toFixed(0)} s`
        : undefined);
    return why === undefined ? undefined : `${this.name}: ${why}`;
  }

  async release(how: "safe" | "not safe"): Promise<void> {
    const link = this.#link;
    if (link && how === "safe") await this.#send({ say: "goodbye" }).catch(() => {});
    this.#lose("it was released");
    this.#over.abort(new Error("the keeper is released"));
    await link?.close();
  }

  async #beat(): Promise<void> {
    const { clock } = this.options;
    for (let number = 1; !this.#over.signal.aborted; number++) {
      await this.#send({ say: "beat", number }).catch(() => {});
      await clock.sleep(beatEverySeconds, this.#over.signal).catch(() => {});
    }
  }

  async #hear(link: ByteLink): Promise<void> {
    try {
      for await (const words of hearKeeper(link)) this.#answer(words);
      this.#lose("it is gone");
    } catch (error) {
      this.#lose(`its link is gone: ${String(error)}`);
    }
  }

  #answer(words: KeeperWords): void {
    this.#sinceHeard = startStopwatch(this.options.clock);
    if (words.say === "refused") this.#lose(words.why);
    if (words.say === "took the rig") this.#lose(`it took the rig, because ${words.why}`);
    if (words.say !== "welcome") return;
    this.#why = undefined;
    this.#welcome.resolve();
  }

  /** For good; the first reason stays, but for that it was not reached yet. */
  #lose(why: string): void {
    if (this.#isLost) return;
    this.#isLost = true;
    this.#why = why;
    this.#welcome.resolve();
    this.options.log.info({ keeper: this.name, why }, "the keeper is lost");
  }
  #isLost = false;

  async #send(words: AgentWords): Promise<void> {
    if (this.#link) await sendWords(this.#link, words);
  }
}
