import type { World } from "./world.ts";

/** To move something, and not only to say how it stands. */
export function isRequest(question: string): boolean {
  return /^(Put|Take)\b/.test(question);
}

/** Somebody at the telescope who does what is asked, takes as long as a motor would, and answers truly. */
export function obligingPerson(world: World) {
  return async (question: string, signal: AbortSignal): Promise<"yes" | "no"> => {
    const isDiffuser = question.includes("diffuser");
    const leaf = isDiffuser ? world.diffuser : world.cover;
    const onAt = isDiffuser ? 1 : 0;
    if (!isRequest(question)) return leaf.position === onAt ? "yes" : "no";
    leaf.moveTo(question.startsWith("Put") ? onAt : 1 - onAt);
    while (leaf.travelling) await world.clock.sleep(0.5, signal);
    return "yes";
  };
}
