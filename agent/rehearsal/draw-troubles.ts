import type { Random } from "../../drivers/kit/random.ts";
import { agentKilled } from "./faults/agent-faults.ts";
import { at, type Fault, type ScriptedFault } from "./faults/fault.ts";
import { linksDown, serversRestart } from "./faults/wire-faults.ts";
import { cameraStuckBusy, cloud, rain, stuck, wind } from "./faults/world-faults.ts";

/** What happens to a process of the service. */
export interface ProcessTroubles {
  readonly faults: readonly ScriptedFault[];
  /** Between its death and the start of the next one; 0 where nothing kills it. */
  readonly darkMinutes: number;
}

interface Kind {
  /** In a day. */
  readonly chance: number;
  draw(random: Random): Fault;
  /** How long it lasts [s], between these. */
  readonly seconds: readonly [least: number, most: number];
}

/** Worse than at any good site, so that weeks of it show more than weeks of the sky would. */
const kinds: readonly Kind[] = [
  { chance: 0.6, draw: (random) => cloud(random.between(0.05, 0.5)), seconds: [120, 5400] },
  { chance: 0.3, draw: (random) => rain(random.between(0.5, 8)), seconds: [300, 7200] },
  { chance: 0.2, draw: (random) => wind(random.between(14, 25)), seconds: [300, 3600] },
  { chance: 0.08, draw: (random) => stuck(random.pick(["diffuser", "focuser"])), seconds: [60, 1800] },
  { chance: 0.05, draw: () => cameraStuckBusy(), seconds: [30, 900] },
];
const serversLostChance = 0.2;
const linkCutChance = 0.15;
const killChance = 0.4;

/**
 * What goes wrong until the day ends, from the seed. More often about when entries are due than by chance; everything is over
 * before the day is, because each gives back what it found.
 * @param dueSeconds when entries are due, and `secondsLeft` of the day [s from now]
 */
export function drawTroubles(
  random: Random,
  { secondsLeft, dueSeconds }: { readonly secondsLeft: number; readonly dueSeconds: readonly number[] },
): ProcessTroubles {
  const lastSeconds = secondsLeft - 60;
  const nearDue = () => random.pick(dueSeconds) + random.between(-300, 1500);
  const anywhere = () => {
    const seconds =
      dueSeconds.length > 0 && random.uniform() < 0.6 ? nearDue() : random.between(0, lastSeconds);
    return Math.min(lastSeconds, Math.max(0, seconds));
  };
  const faults: ScriptedFault[] = [];
  for (const { chance, draw, seconds } of kinds) {
    if (random.uniform() >= chance) continue;
    const [from, lasts] = [anywhere(), random.between(...seconds)];
    faults.push(at(from).for(Math.min(lasts, lastSeconds + 30 - from), draw(random)));
  }
  if (random.uniform() < serversLostChance)
    faults.push(at(anywhere()).begins(serversRestart(random.between(5, 120))));
  if (random.uniform() < linkCutChance) faults.push(at(anywhere()).begins(linksDown(random.between(2, 90))));
  if (dueSeconds.length === 0 || random.uniform() >= killChance) return { faults, darkMinutes: 0 };
  // Where it hurts: while a run is under way, which takes a few minutes.
  const killSeconds = Math.min(lastSeconds, random.pick(dueSeconds) + random.between(5, 500));
  const isOver = ({ afterSeconds, forSeconds = 0 }: ScriptedFault) => afterSeconds + forSeconds < killSeconds;
  return {
    faults: [...faults.filter(isOver), at(killSeconds).begins(agentKilled())],
    darkMinutes: random.between(1, 45),
  };
}
