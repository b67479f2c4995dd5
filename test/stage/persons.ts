import type { AskPerson } from "../../agent/run/checks/hand-cover.ts";
import type { World } from "../../sim-devices/scene/world.ts";

/** Somebody at the terminal, and what they are like. */
export type PersonKind = "obliging" | "lying" | "absent" | "late";

/** How long a late person takes to come [s]. */
const lateSeconds = 150;

const never = new Promise<never>(() => {});

/**
 * Obliging: does what is asked, takes as long as the motor would, and answers truly. Lying: says that it is done.
 * Absent: has gone home. Late: comes after some minutes, and obliges.
 */
export function personOf(kind: PersonKind, world: World): AskPerson {
  const oblige = obligingPerson(world);
  switch (kind) {
    case "obliging":
      return oblige;
    case "lying":
      return (question, signal) => (isRequest(question) ? Promise.resolve("yes") : oblige(question, signal));
    case "absent":
      return (_, signal) => Promise.race([never, abortOf(signal)]);
    case "late":
      return async (question, signal) => {
        await world.clock.sleep(lateSeconds, signal);
        return oblige(question, signal);
      };
  }
}

function obligingPerson(world: World): AskPerson {
  return async (question, signal) => {
    const isDiffuser = question.includes("diffuser");
    const leaf = isDiffuser ? world.diffuser : world.cover;
    const onAt = isDiffuser ? 1 : 0;
    if (!isRequest(question)) return leaf.position === onAt ? "yes" : "no";
    leaf.moveTo(question.startsWith("Put") ? onAt : 1 - onAt);
    while (leaf.travelling) await world.clock.sleep(0.5, signal);
    return "yes";
  };
}

/** To move something, and not only to say how it stands. */
function isRequest(question: string): boolean {
  return /^(Put|Take)\b/.test(question);
}

function abortOf(signal: AbortSignal): Promise<never> {
  return new Promise((_, reject) => {
    signal.addEventListener("abort", () => reject(signal.reason as Error), { once: true });
  });
}
