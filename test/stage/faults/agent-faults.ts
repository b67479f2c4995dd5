import type { Fault, FaultyRig } from "./fault.ts";

/** What happens to the agent itself. */

function agentOf(rig: FaultyRig): NonNullable<FaultyRig["agent"]> {
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
    begin: (rig) => {
      agentOf(rig).kill();
      return undefined;
    },
  };
}
