import { Database } from "bun:sqlite";
import { type ChildProcess, spawn, spawnSync } from "node:child_process";
import { closeSync, mkdirSync, mkdtempSync, openSync, rmSync, writeFileSync, writeSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { expect, test } from "vitest";
import type { WorldAccount } from "../../../sim-devices/scene/world-account.ts";
import { isMadeSafe, RealRig } from "./real-rig.ts";
import { repeatIfStalled } from "./repeat-if-stalled.ts";

const isOpen = ({ cover }: WorldAccount) => cover?.open === 1;

/** A disk of its own for the ledger, that can be filled and made read-only. Needs root. */
class SmallDisk implements Disposable {
  readonly folder = mkdtempSync(join(tmpdir(), "small-disk-"));
  constructor() {
    must("mount", "-t", "tmpfs", "-o", "size=4m", "tmpfs", this.folder);
  }
  get ledger(): string {
    return join(this.folder, "ledger.sqlite");
  }
  fill(): void {
    const file = openSync(join(this.folder, "filler"), "w");
    try {
      for (const size of [65_536, 512, 1]) {
        try {
          for (;;) writeSync(file, new Uint8Array(size));
        } catch (error) {
          if ((error as NodeJS.ErrnoException).code !== "ENOSPC") throw error;
        }
      }
    } finally {
      closeSync(file);
    }
  }
  makeReadOnly(): void {
    must("mount", "-o", "remount,ro", this.folder);
  }
  [Symbol.dispose](): void {
    spawnSync("umount", [this.folder]);
    rmSync(this.folder, { recursive: true, force: true });
  }
}

/** A disk that can be made to answer nobody, as one on a network that is away does. Needs root. */
class FreezableDisk implements Disposable {
  readonly folder = mkdtempSync(join(tmpdir(), "freezable-disk-"));
  readonly #image = `${this.folder}.image`;
  constructor() {
    must("truncate", "-s", "64M", this.#image);
    must("mkfs.ext4", "-q", "-F", this.#image);
    must("mount", "-o", "loop", this.#image, this.folder);
  }
  get ledger(): string {
    return join(this.folder, "ledger.sqlite");
  }
  get runs(): string {
    return join(this.folder, "runs");
  }
  freeze(): void {
    must("fsfreeze", "--freeze", this.folder);
  }
  thaw(): void {
    must("fsfreeze", "--unfreeze", this.folder);
  }
  [Symbol.dispose](): void {
    spawnSync("fsfreeze", ["--unfreeze", this.folder]);
    spawnSync("umount", [this.folder]);
    for (const path of [this.folder, this.#image]) rmSync(path, { recursive: true, force: true });
  }
}

function must(program: string, ...args: string[]): void {
  const { status, stderr } = spawnSync(program, args, { encoding: "utf8" });
  if (status !== 0) throw new Error(stderr);
}

interface Ended {
  readonly exit: number | null;
  readonly said: string;
}

function start(
  rig: RealRig,
  disk: { readonly ledger: string; readonly runs?: string },
  name: "run" | "restore",
): { child: ChildProcess; ended: Promise<Ended> } {
  const given = rig
    .command(name)
    .map((arg) => (arg === join(rig.folder, "ledger.sqlite") ? disk.ledger : arg))
    .map((arg) => (arg === join(rig.folder, "runs") ? (disk.runs ?? arg) : arg));
  const [program, ...args] = name === "run" ? given : [...given, "--runs", join(rig.folder, "runs")];
  const child = spawn(program!, args, { stdio: ["ignore", "pipe", "ignore"] });
  let said = "";
  child.stdout.on("data", (text) => {
    said += text;
  });
  const ended = new Promise<Ended>((resolve) => child.once("close", (exit) => resolve({ exit, said })));
  return { child, ended };
}

async function runUntilOpen(rig: RealRig, disk: Parameters<typeof start>[1]) {
  const run = start(rig, disk, "run");
  await rig.until("cover open", isOpen);
  return run;
}

test.concurrent(
  "the ledger's disk is full while the cover is open: SIGTERM, the rig is put back and said so; restore needs no room",
  repeatIfStalled(async () => {
    using disk = new SmallDisk();
    await using rig = await RealRig.start();
    const { child, ended } = await runUntilOpen(rig, disk);
    disk.fill();
    child.kill("SIGTERM");
    const { exit, said } = await ended;
    expect(await rig.differences()).toEqual([]);
    expect(said).toMatch(
      /The rig is as it was found.*Could not be written to the disk: the ledger .* can't be written/,
    );
    expect(exit).toBe(5);
    const again = await start(rig, disk, "restore").ended;
    expect(again.exit, again.said).toBe(0);
    expect(await rig.differences()).toEqual([]);
  }),
);

const lost: Record<string, (disk: SmallDisk) => unknown> = {
  "its disk is full": (disk) => disk.fill(),
  "its disk is read-only": (disk) => disk.makeReadOnly(),
  "it is overwritten": (disk) => writeFileSync(disk.ledger, "noise ".repeat(20_000)),
  "it is gone": (disk) => rmSync(disk.ledger),
  "there is a folder in its place": (disk) => {
    rmSync(disk.ledger);
    mkdirSync(disk.ledger);
  },
  "another program writes to it": (disk) => {
    const other = new Database(disk.ledger);
    other.run("begin immediate");
    return other;
  },
};

test.concurrent.each(Object.keys(lost))("killed, and of the ledger: %s; restore puts the rig back", (what) =>
  repeatIfStalled(async () => {
    using disk = new SmallDisk();
    await using rig = await RealRig.start();
    const { child, ended } = await runUntilOpen(rig, disk);
    child.kill("SIGKILL");
    await ended;
    const held = lost[what]!(disk);
    const { exit, said } = await start(rig, disk, "restore").ended;
    expect(await rig.differences(), said).toEqual([]);
    expect(exit, said).toBe(0);
    if (held instanceof Database) held.close();
    // The run is closed by its folder's word, whatever the ledger could take of it.
    const again = await start(rig, disk, "restore").ended;
    expect(again.said).not.toContain("settings read back");
  })(),
);

test.concurrent(
  "the disk of ledger and runs answers nobody while the cover is open: the keeper makes the rig safe, and the agent puts it back when it can",
  repeatIfStalled(async () => {
    using disk = new FreezableDisk();
    await using rig = await RealRig.start();
    const { ended } = await runUntilOpen(rig, disk);
    disk.freeze();
    await rig.until("made safe", isMadeSafe);
    disk.thaw();
    const { exit, said } = await ended;
    expect(exit, said).toBe(4);
    expect(await rig.differences()).toEqual([]);
  }),
);
