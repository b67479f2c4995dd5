import { expect } from "vitest";
import { AlpacaRigServer } from "../../../drivers/alpaca/rig-server.ts";
import type { AlpacaEntry } from "../../../drivers/alpaca/role-table.ts";
import { AlpacaServer } from "../../../drivers/alpaca/wire/server.ts";
import { type Log, silentLog } from "../../../drivers/kit/log.ts";
import { VirtualClock } from "../../../drivers/kit/virtual-clock.ts";
import type { KeptDevice } from "../../../drivers/roles/kept-device.ts";
import type { RoleName } from "../../../drivers/roles/roles.ts";
import { ScriptedAlpaca } from "./scripted-alpaca.ts";

export interface AlpacaBench {
  readonly clock: VirtualClock;
  readonly far: ScriptedAlpaca;
  readonly server: AlpacaServer;
  readonly signal: AbortSignal;
  readonly warnings: string[];
  open(role: RoleName, entry: AlpacaEntry): Promise<KeptDevice>;
  secondsNow(): number;
}

export const startUtcMs = Date.UTC(2026, 5, 21, 10, 0, 0);

/**
 * Runs a test's body on a virtual clock against a scripted far end. Whatever was asked must be right by the published
 * description, in every test.
 */
export async function onAlpaca(
  prepare: (far: ScriptedAlpaca, clock: VirtualClock) => void,
  body: (bench: AlpacaBench) => Promise<void>,
): Promise<void> {
  const clock = new VirtualClock(startUtcMs);
  const far = new ScriptedAlpaca(clock);
  prepare(far, clock);
  const warnings: string[] = [];
  const log: Log = {
    ...silentLog,
    warn: (fields, message) => warnings.push(`${message} ${JSON.stringify(fields)}`),
  };
  const signal = new AbortController().signal;
  const work = async () => {
    await using server = new AlpacaServer({ exchange: far, clock, log, clientId: 4711, name: "hut" });
    await using opened = new AsyncDisposableStack();
    const rigServer = new AlpacaRigServer(server, { clock, log });
    await rigServer.open(signal);
    await body({
      clock,
      far,
      server,
      signal,
      warnings,
      open: (role, entry) => opened.use(rigServer.role(role, entry, { ownsConnection: true })).open(signal),
      secondsNow: () => (clock.nowMs() - startUtcMs) / 1000,
    });
  };
  await clock.drive(work());
  expect(far.problems).toEqual([]);
  expect(clock.pendingTimers).toBe(0);
}
