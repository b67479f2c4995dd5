import type { AskPerson } from "../../agent/run/checks/hand-cover.ts";
import type { World } from "../../sim-devices/scene/world.ts";

/** Somebody at the terminal who does what is asked, takes as long as the motor would, and answers truly. */
export function obligingPerson(world: World): AskPerson {
  return async (question, signal) => {
    const isDiffuser = question.includes("diffuser");
    const leaf = isDiffuser ? world.diffuser : world.cover;
    const onAt = isDiffuser ? 1 : 0;
    const asked = /^(Put|Take)\b/.exec(question)?.[1];
    if (asked === undefined) return leaf.position === onAt ? "yes" : "no";
    leaf.moveTo(asked === "Put" ? onAt : 1 - onAt);
    while (leaf.travelling) await world.clock.sleep(0.5, signal);
    return "yes";
  };
}
