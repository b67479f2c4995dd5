import type { SimAlpacaServer } from "../../../sim-devices/alpaca/alpaca-server.ts";
import type { IndiServer } from "../../../sim-devices/indi/indi-server.ts";
import type { World } from "../../../sim-devices/scene/world.ts";

/** The rig as faults can get at it; the servers only where the fault needs one. */
export interface FaultyRig {
  readonly world: World;
  readonly indiServer?: IndiServer;
  readonly alpacaServer?: SimAlpacaServer;
  /** The agent at work: asked for an orderly end, killed, made to stand still, its computer's clock set, its keeper killed. */
  readonly agent?: {
    stop(reason: Error): void;
    kill(): void;
    /** @returns how it goes on */
    stand(): () => void;
    stepClock(seconds: number): void;
    killKeeper(): void;
  };
}

/** Something that goes wrong. It begins when `begin` is called; what that returns ends it, where it can end. */
export interface Fault {
  readonly name: string;
  begin(rig: FaultyRig): (() => void) | undefined;
}

export interface ScriptedFault {
  readonly fault: Fault;
  /** After the script's start [s]. */
  readonly afterSeconds: number;
  /** Left out: it stays. */
  readonly forSeconds?: number;
}

/** `at(12).for(40, cloud(0.2))`: a script reads like an observer's log. */
export function at(afterSeconds: number) {
  return {
    begins: (fault: Fault): ScriptedFault => ({ fault, afterSeconds }),
    for: (forSeconds: number, fault: Fault): ScriptedFault => ({ fault, afterSeconds, forSeconds }),
  };
}

/** Sets the script going on the world's clock. @returns how to call off what has not begun and end what has */
export function playFaults(rig: FaultyRig, script: readonly ScriptedFault[]): () => void {
  const { clock } = rig.world;
  const undo: (() => void)[] = [];
  for (const { fault, afterSeconds, forSeconds } of script) {
    const start = clock.setTimer(afterSeconds, () => {
      const end = fault.begin(rig);
      if (!end) return;
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
