import { Database } from "bun:sqlite";
import {
  closeSync,
  existsSync,
  openSync,
  renameSync,
  rmSync,
  statSync,
  writeFileSync,
  writeSync,
} from "node:fs";
import { type AgentDisk, type Fault, type FaultyRig, holdSwitch } from "./fault.ts";

/** What happens to the disk that the agent writes to, its ledger included. */

function diskOf(rig: FaultyRig): AgentDisk {
  if (!rig.disk) throw new Error("this fault needs the agent's disk");
  return rig.disk;
}

function ledgerFileOf(rig: FaultyRig): string {
  const { ledgerFile } = diskOf(rig);
  if (ledgerFile === ":memory:") throw new Error("this fault needs a ledger on a disk");
  return ledgerFile;
}

/** Somebody else's files take all the room; what the agent itself writes still fits. */
export function diskFull(): Fault {
  return {
    name: "disk full",
    danger: { why: "disk full", isOfAgent: true },
    begin: (rig) => {
      const disk = diskOf(rig);
      disk.freeMegabytes = 3;
      return () => {
        disk.freeMegabytes = undefined;
      };
    },
  };
}

/** The run's folder is taken away, as with a disk that is unplugged; nothing can be written there. */
export function folderGone(): Fault {
  return {
    name: "run folder gone",
    begin: (rig) => (existsSync(diskOf(rig).folder) ? takeFolder(rig) : undefined),
  };
}

function takeFolder(rig: FaultyRig): () => void {
  const { folder } = diskOf(rig);
  const aside = `${folder}.aside`;
  return holdSwitch(rig.world, "run folder gone", (on) => {
    if (on && existsSync(folder)) renameSync(folder, aside);
    else if (!on && existsSync(folder)) rmSync(aside, { recursive: true, force: true });
    else if (!on && existsSync(aside)) renameSync(aside, folder);
  });
}

/** Full, or mounted again as read-only: neither the ledger nor the run's folder takes anything more. */
export function diskTakesNothing(): Fault {
  return {
    name: "disk takes nothing more",
    begin: (rig) => {
      const disk = diskOf(rig);
      const { folder } = disk;
      const bringBack = takeFolder(rig);
      const end = holdSwitch(rig.world, "disk takes nothing more", (on) => {
        disk.refuseLedger(on);
        // In the folder's place, so that it can't be made again either.
        if (on && existsSync(`${folder}.aside`) && !existsSync(folder)) writeFileSync(folder, "");
        if (!on && existsSync(folder) && statSync(folder).isFile()) rmSync(folder);
      });
      return () => {
        end();
        bringBack();
      };
    },
  };
}

/** Another program holds the ledger: a backup, a browser of databases. */
export function ledgerLocked(): Fault {
  return {
    name: "ledger locked",
    begin: (rig) => {
      const database = new Database(ledgerFileOf(rig));
      database.run("begin immediate");
      return () => {
        database.run("rollback");
        database.close();
      };
    },
  };
}

/** A bad sector, a restored backup, another program: the ledger is no database any more. */
export function ledgerOverwritten(): Fault {
  return {
    name: "ledger overwritten",
    begin: (rig) => {
      const file = ledgerFileOf(rig);
      for (const name of [file, `${file}-wal`]) {
        if (!existsSync(name)) continue;
        const noise = Buffer.alloc(Math.max(4096, statSync(name).size), "not a database any more ");
        const opened = openSync(name, "r+");
        writeSync(opened, noise);
        closeSync(opened);
      }
      return undefined;
    },
  };
}
