import type { ByteLink, OpenLink } from "../../drivers/kit/links.ts";
import { memoryOpener } from "../../drivers/kit/memory-link.ts";
import { type TakeRigTools, takeRig } from "../keeper/take-rig.ts";
import { type WatchEnded, watchAgent } from "../keeper/watch-agent.ts";

/** The keeper's process, as the rest of the world sees it: it outlives the agent, and can be killed itself. */
export class RehearsedKeeper {
  readonly open: OpenLink;
  /** Of all agents that it has watched over. */
  readonly ended: Promise<WatchEnded>[] = [];
  readonly #links: ByteLink[] = [];
  #alive = true;
  #takingCount = 0;

  /** It has the rig in hand. */
  get isTaking(): boolean {
    return this.#takingCount > 0;
  }

  constructor(tools: TakeRigTools) {
    const { clock, rigFile } = tools;
    this.open = memoryOpener((link) => {
      this.#links.push(link);
      if (!this.#alive) return void link.close();
      const take = async () => {
        if (!this.#alive) return;
        this.#takingCount++;
        await takeRig(tools).finally(() => this.#takingCount--);
      };
      this.ended.push(watchAgent(link, { clock, rig: rigFile.rig, takeRig: take }));
    });
  }

  kill(): void {
    this.#alive = false;
    for (const link of this.#links) void link.close();
  }
}
