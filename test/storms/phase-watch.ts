import type { Log } from "../../drivers/kit/log.ts";
import type { Moment } from "../../sim-devices/scene/moment.ts";
import type { World } from "../../sim-devices/scene/world.ts";
import type { Phase } from "./storm.ts";

/** Something that the agent noted, and when by the world's clock. */
export interface Note {
  readonly atMs: number;
  readonly what: string;
  readonly fields: Readonly<Record<string, unknown>>;
}

const nearDegrees = 5;

/** What of the agent's notes is a phase. */
const notedPhases: Readonly<Record<string, Phase>> = {
  waiting: "waiting",
  retreating: "retreating",
  restoring: "restoring",
};

/** Watches world and agent, and calls back at each phase that a run comes to. */
export class PhaseWatch {
  readonly notes: Note[] = [];
  readonly seen = new Map<Phase, number>();
  onPhase: (phase: Phase, nth: number) => void = () => {};

  /** Gets everything that the agent logs. */
  readonly log: Log = {
    debug: () => {},
    info: (fields, message) => this.#note(fields, message),
    warn: (fields, message) => this.#note(fields, message),
    error: (fields, message) => this.#note(fields, message),
  };
  #world: World | undefined;

  watch(world: World): void {
    this.#world = world;
    world.listen((moment) => {
      const phase = phaseOf(moment, world);
      if (phase) this.reach(phase);
    });
  }

  reach(phase: Phase): void {
    const nth = (this.seen.get(phase) ?? 0) + 1;
    this.seen.set(phase, nth);
    this.onPhase(phase, nth);
  }

  #note(fields: object, what: string): void {
    if (!this.#world) return;
    this.notes.push({ atMs: this.#world.clock.nowMs(), what, fields: { ...fields } });
    const phase = notedPhases[what];
    if (phase) this.reach(phase);
  }
}

function phaseOf(moment: Moment, world: World): Phase | undefined {
  const { part, what, coverOpen, sunSeparationDegrees: off, targetSunSeparationDegrees: targetOff } = moment;
  switch (`${part} ${what}`) {
    case "mount slewStarted":
      if (coverOpen > 0) return "openSlew";
      return (targetOff ?? 180) < nearDegrees ? "coveredSlew" : undefined;
    case "mount slewEnded":
      return coverOpen === 0 && off < nearDegrees ? "atSun" : undefined;
    case "cover moveStarted":
      return world.cover.target === 1 ? "uncovering" : "closing";
    case "cover moveEnded":
      return coverOpen === 1 ? "uncovered" : undefined;
    case "camera exposureStarted":
      return coverOpen > 0 && off < nearDegrees ? "exposing" : undefined;
    case "diffuser moveEnded":
      return moment.diffuserIn === 1 ? "diffuserIn" : undefined;
    default:
      return undefined;
  }
}
