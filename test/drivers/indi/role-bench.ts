import { ComputerClock } from "../../../agent/rehearsal/computer-clock.ts";
import { IndiClient } from "../../../drivers/indi/session/client.ts";
import type { RoleContext } from "../../../drivers/indi/session/indi-role.ts";
import { type Log, silentLog } from "../../../drivers/kit/log.ts";
import { Random } from "../../../drivers/kit/random.ts";
import { VirtualClock } from "../../../drivers/kit/virtual-clock.ts";
import { ScriptedServer } from "./scripted-server.ts";

export interface Bench {
  readonly clock: VirtualClock;
  /** What the drivers take for the time. */
  readonly computer: ComputerClock;
  readonly server: ScriptedServer;
  readonly client: IndiClient;
  readonly signal: AbortSignal;
  /** What the log was warned of. */
  readonly warnings: string[];
  context(device: string, options?: { ownsConnection?: boolean }): RoleContext;
  secondsNow(): number;
}

/** When the recordings were made, near enough: their clocks and ours should not differ by years. */
export const startUtcMs = Date.UTC(2026, 10, 24, 23, 10, 0);

/** Runs a test's body on a virtual clock against a scripted server; everything is closed at its end. */
export async function onBench(
  prepare: (server: ScriptedServer) => void,
  body: (bench: Bench) => Promise<void>,
): Promise<void> {
  const clock = new VirtualClock(startUtcMs);
  const computer = new ComputerClock(clock);
  const server = new ScriptedServer(clock);
  prepare(server);
  const warnings: string[] = [];
  const log: Log = {
    ...silentLog,
    warn: (fields, message) => warnings.push(`${message} ${JSON.stringify(fields)}`),
  };
  const client = new IndiClient({ open: server.open, clock: computer, log, random: new Random(1) });
  const signal = new AbortController().signal;
  const work = async () => {
    try {
      await client.connect(signal);
      await body({
        clock,
        computer,
        server,
        client,
        signal,
        warnings,
        context: (device, options) => ({
          device: client.device(device),
          clock: computer,
          log,
          ownsConnection: options?.ownsConnection ?? true,
        }),
        secondsNow: () => (clock.nowMs() - startUtcMs) / 1000,
      });
    } finally {
      await client.close();
    }
  };
  await clock.drive(work());
}

/** A CONNECTION that is on, for recordings that begin after it; and the general facts of a driver. */
export function connectionText(device: string, options: { on?: boolean } = {}): string {
  const on = options.on ?? true;
  return `<defSwitchVector device="${device}" name="CONNECTION" label="Connection" group="Main Control" state="${on ? "Ok" : "Idle"}" perm="rw" rule="OneOfMany" timeout="60">
<defSwitch name="CONNECT">${on ? "On" : "Off"}</defSwitch><defSwitch name="DISCONNECT">${on ? "Off" : "On"}</defSwitch></defSwitchVector>`;
}

/** A number vector as a driver defines it. */
export function numberText(
  device: string,
  name: string,
  elements: Readonly<Record<string, number | readonly [value: number, min: number, max: number]>>,
  options: { state?: string; perm?: string } = {},
): string {
  const inner = Object.entries(elements).map(([element, given]) => {
    const [value, min, max] = typeof given === "number" ? [given, 0, 0] : given;
    return `<defNumber name="${element}" label="${element}" format="%g" min="${min}" max="${max}" step="0">${value}</defNumber>`;
  });
  return `<defNumberVector device="${device}" name="${name}" label="" group="" state="${options.state ?? "Idle"}" perm="${options.perm ?? "rw"}">${inner.join("")}</defNumberVector>`;
}

export function switchText(
  device: string,
  name: string,
  elements: Readonly<Record<string, boolean>>,
  options: { state?: string; perm?: string; rule?: string } = {},
): string {
  const inner = Object.entries(elements).map(
    ([element, on]) => `<defSwitch name="${element}" label="${element}">${on ? "On" : "Off"}</defSwitch>`,
  );
  return `<defSwitchVector device="${device}" name="${name}" label="" group="" state="${options.state ?? "Ok"}" perm="${options.perm ?? "rw"}" rule="${options.rule ?? "OneOfMany"}">${inner.join("")}</defSwitchVector>`;
}
