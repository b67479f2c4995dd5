import { resolve } from "node:path";
import type { Clock } from "../../drivers/kit/clock.ts";
import type { Log } from "../../drivers/kit/log.ts";
import { ownCommand } from "../../drivers/kit/place.ts";
import { tcpOpener } from "../../drivers/kit/tcp-link.ts";
import type { RigFile } from "../../plans/rig-file.ts";
import { BeatenKeeper } from "../keeper/beat-keeper.ts";
import { keeperProcessOpener } from "../keeper/keeper-process.ts";
import type { RigKeeper } from "../run/guard/rig-keeper.ts";

export interface KeptRun {
  readonly rigFile: RigFile;
  /** The path of the rig file. */
  readonly rig: string;
  readonly ledger: string;
  readonly folder: string;
  readonly clock: Clock;
  readonly log: Log;
}

/** Who makes the rig safe when the run's process is gone: one on this computer always, and one elsewhere if the rig has it. */
export function keepersOfRun({ rig, ledger, folder, ...kept }: KeptRun): readonly RigKeeper[] {
  const files = ["--rig", resolve(rig), "--ledger", resolve(ledger)];
  const open = keeperProcessOpener([
    ...ownCommand(),
    "keep",
    ...files,
    "--log-file",
    resolve(folder, "keeper.ndjson"),
  ]);
  const { rigFile, clock, log } = kept;
  const beside = new BeatenKeeper({
    rig: rigFile.rig,
    clock,
    log,
    name: "the keeper on this computer",
    open,
  });
  return [beside, ...listeningKeepers(kept)];
}

/** Those that the rig file names. */
export function listeningKeepers({
  rigFile,
  clock,
  log,
}: Pick<KeptRun, "rigFile" | "clock" | "log">): readonly RigKeeper[] {
  const { keeper, rig } = rigFile;
  if (!keeper) return [];
  const name = `the keeper at ${keeper.host}:${keeper.port}`;
  return [new BeatenKeeper({ rig, clock, log, name, open: tcpOpener(keeper) })];
}
