import { isRequest, obligingPerson } from "../../sim-devices/scene/obliging-person.ts";
import type { World } from "../../sim-devices/scene/world.ts";
import type { AskPerson } from "../run/checks/hand-cover.ts";

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

function abortOf(signal: AbortSignal): Promise<never> {
  return new Promise((_, reject) => {
    signal.addEventListener("abort", () => reject(signal.reason as Error), { once: true });
  });
}
