import type { OpenLink } from "../../drivers/kit/links.ts";
import { memoryOpener } from "../../drivers/kit/memory-link.ts";
import { type TakeRigTools, takeRig } from "./take-rig.ts";
import { watchAgent } from "./watch-agent.ts";

/** A keeper for runs in memory, of the same logic as that in a process of its own. */
export function keeperInMemory(tools: TakeRigTools): OpenLink {
  const { clock, rigFile } = tools;
  return memoryOpener((link) => {
    void watchAgent(link, { clock, rig: rigFile.rig, takeRig: () => takeRig(tools) });
  });
}
