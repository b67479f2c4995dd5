import type { RoleName } from "../../../drivers/roles/roles.ts";
import type { SimAlpacaServer } from "../../../sim-devices/alpaca/alpaca-server.ts";
import type { IndiServer } from "../../../sim-devices/indi/indi-server.ts";
import type { ScenePainter } from "../../../sim-devices/scene/painter.ts";
import type { World } from "../../../sim-devices/scene/world.ts";

/** The agent at work. */
export interface AgentAtWork {
  /** Asks for an orderly end. */
  stop(reason: Error): void;
  kill(): void;
  /** Nothing of it runs, as with SIGSTOP; its clock goes on. @returns how it goes on */
  stand(): () => void;
  /** The second process that watches over it is gone. */
  killKeeper(): void;
  /** Its wall clock jumps; the world's does not. */
  stepClock(bySeconds: number): void;
}

/** Where the agent writes. */
export interface AgentDisk {
  /** Of the run under way. */
  readonly folder: string;
  /** `:memory:` where it is not on a disk. */
  readonly ledgerFile: string;
  /** Left out: as much as there is. */
  freeMegabytes: number | undefined;
  /** Not a byte more goes into the ledger, as on a full or a read-only disk. */
  refuseLedger(refuses: boolean): void;
}

/** The rig as faults can get at it; what they need besides the world only where they need it. */
export interface FaultyRig {
  readonly world: World;
  readonly painter?: ScenePainter;
  readonly indiServer?: IndiServer;
  readonly alpacaServer?: SimAlpacaServer;
  readonly agent?: AgentAtWork;
  readonly disk?: AgentDisk;
}

/** What of the rig cannot be commanded while a fault lasts. */
export type Blocked = "cover" | "mount";

/** Something that goes wrong. It begins when `begin` is called; what that returns ends it, where it can end. */
export interface Fault {
  readonly name: string;
  /** While it lasts these obey nobody. */
  readonly blocks?: readonly Blocked[];
  /** What devices say wrongly while it lasts, by the names of the world's account (`cover.open`). */
  readonly lies?: readonly string[];
  /** Why the telescope may not stay open to the Sun while it lasts, seen by the device of that role. */
  readonly danger?: {
    readonly why: string;
    readonly seenBy?: RoleName;
    readonly isSilence?: true;
    /** It is one to the agent at work; whoever comes after it stands on its own feet. */
    readonly isOfAgent?: true;
  };
  /** While it lasts the agent does nothing and asks nobody for anything. */
  readonly stopsAgent?: true;
  /** While it lasts no device answers in the time that an agent waits for it when it connects. */
  readonly tooSlowToConnect?: true;
  /** From then on nobody makes the rig safe when the agent is gone. */
  readonly endsKeeper?: true;
  /** Roles whose devices say that they are busy for as long as it lasts. */
  readonly staysBusy?: readonly RoleName[];
  /** The computer's clock is wrong from then on: who did not see it being set believes it. */
  readonly setsClock?: true;
  /** Roles whose devices get every command twice. */
  readonly doubles?: readonly RoleName[];
  /** Roles that somebody or something else than the agent moves. */
  readonly foreign?: readonly RoleName[];
  begin(rig: FaultyRig): (() => void) | undefined;
}

const heldSwitches = new WeakMap<World, Map<string, number>>();

/**
 * Switches something of the world on, for a fault that may strike while another like it lasts.
 * @returns how to end it; what it switches goes off with the last of them
 */
export function holdSwitch(world: World, name: string, set: (on: boolean) => void): () => void {
  const holders = heldSwitches.get(world) ?? new Map<string, number>();
  heldSwitches.set(world, holders);
  const change = (by: number) => {
    const count = (holders.get(name) ?? 0) + by;
    holders.set(name, count);
    return count;
  };
  if (change(1) === 1) set(true);
  return () => {
    if (change(-1) === 0) set(false);
  };
}

/** Whether it makes a device of that role deceive. */
export function deceives({ lies }: Pick<Fault, "lies">, role: RoleName): boolean {
  return lies?.some((setting) => setting.startsWith(`${role}.`)) ?? false;
}

export interface ScriptedFault {
  readonly fault: Fault;
  /** After the script's start [s]. */
  readonly afterSeconds: number;
  /** Left out: it stays. */
  readonly forSeconds?: number;
}

/** A fault that has begun. */
export interface StruckFault {
  readonly fault: Fault;
  readonly beganMs: number;
  /** Undefined while it lasts; of what happens all at once, when it began. */
  endedMs: number | undefined;
}

/** `at(12).for(40, cloud(0.2))`: a script reads like an observer's log. */
export function at(afterSeconds: number) {
  return {
    begins: (fault: Fault): ScriptedFault => ({ fault, afterSeconds }),
    for: (forSeconds: number, fault: Fault): ScriptedFault => ({ fault, afterSeconds, forSeconds }),
  };
}

/**
 * Sets the script going on the world's clock.
 * @param struck gets every fault as it begins
 * @returns how to call off what has not begun and end what has
 */
export function playFaults(
  rig: FaultyRig,
  script: readonly ScriptedFault[],
  struck: StruckFault[] = [],
): () => void {
  const { clock } = rig.world;
  const undo: (() => void)[] = [];
  for (const { fault, afterSeconds, forSeconds } of script) {
    const start = clock.setTimer(afterSeconds, () => {
      const entry: StruckFault = { fault, beganMs: clock.nowMs(), endedMs: undefined };
      struck.push(entry);
      const undoIt = fault.begin(rig);
      if (!undoIt) {
        entry.endedMs = entry.beganMs;
        return;
      }
      const end = () => {
        if (entry.endedMs !== undefined) return;
        entry.endedMs = clock.nowMs();
        undoIt();
      };
      undo.push(end);
      if (forSeconds === undefined) return;
      const stop = clock.setTimer(forSeconds, end);
      undo.push(() => stop.cancel());
    });
    undo.push(() => start.cancel());
  }
  return () => {
    for (const end of undo.splice(0)) end();
  };
}
