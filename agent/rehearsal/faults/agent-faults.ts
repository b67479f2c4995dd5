import type { AgentAtWork, Fault, FaultyRig } from "./fault.ts";

/** What happens to the agent itself. */

function agentOf(rig: FaultyRig): AgentAtWork {
  if (!rig.agent) throw new Error("this fault needs an agent at work");
  return rig.agent;
}

/** The operator or the system asks for an orderly end: Ctrl-C, `kill`, a closed terminal. */
export function stopAsked(signal: "SIGINT" | "SIGTERM" | "SIGHUP" = "SIGINT"): Fault {
  return {
    name: `${signal} to the agent`,
    begin: (rig) => {
      agentOf(rig).stop(new Error(signal));
      return undefined;
    },
  };
}

/** The agent's process is gone at once, cleanup and all: SIGKILL, a power cut of its computer. */
export function agentKilled(): Fault {
  return {
    name: "agent killed",
    danger: { why: "agent killed", isOfAgent: true },
    begin: (rig) => {
      agentOf(rig).kill();
      return undefined;
    },
  };
}

/** The agent's process stands still, as by SIGSTOP; at the end it goes on as if nothing had been. */
export function agentStopped(): Fault {
  return {
    name: "agent stopped",
    danger: { why: "agent stopped" },
    stopsAgent: true,
    begin: (rig) => agentOf(rig).stand(),
  };
}

/** The keeper's process is gone. */
export function keeperKilled(): Fault {
  return {
    name: "keeper killed",
    endsKeeper: true,
    begin: (rig) => {
      agentOf(rig).killKeeper();
      return undefined;
    },
  };
}

/** The clock of the agent's computer is set forward by so much, or back by less than 0; the Sun stays where it is. */
export function clockStepped(hours: number): Fault {
  return {
    name: `clock set by ${hours} h`,
    setsClock: true,
    begin: (rig) => {
      agentOf(rig).stepClock(hours * 3600);
      return () => agentOf(rig).stepClock(-hours * 3600);
    },
  };
}
