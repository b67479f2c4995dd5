import { mkdtempSync, readdirSync, rmSync, statSync, writeFileSync } from "node:fs";
import { hostname, tmpdir } from "node:os";
import { join } from "node:path";
import { afterEach, beforeEach, expect, test } from "vitest";
import { LockFolderError } from "../../../../agent/run/machine/host-lock.ts";
import { lockRig, RigBusyError } from "../../../../agent/run/machine/rig-lock.ts";
import { VirtualClock } from "../../../../drivers/kit/virtual-clock.ts";
import { readRigFile } from "../../../../plans/rig-file.ts";
import { goodRig } from "../../../plans/broken-files.ts";

let folder: string;
let known: Record<string, string[]>;
beforeEach(() => {
  folder = mkdtempSync(join(tmpdir(), "evenfield-locks-"));
  known = {};
});
afterEach(() => rmSync(folder, { recursive: true, force: true }));

const changed = (text: string, ...changes: [string | RegExp, string][]) =>
  changes.reduce((now, [find, put]) => now.replace(find, put), text);

const lock = (rigText: string, ledger = "one.sqlite") =>
  lockRig(join(folder, ledger), readRigFile(rigText, "rig.yaml"), {
    clock: new VirtualClock(0),
    lockFolder: join(folder, "locks"),
    lookUpHost: async (host) => known[host] ?? Promise.reject(new Error("not known")),
  });

const otherName = changed(goodRig, ["rig: garden", "rig: garden-2"]);
const at = (host: string) => changed(otherName, ["host: 127.0.0.1", `host: ${JSON.stringify(host)}`]);

test("one mount in two rig files, under two names and two ledgers: the second is refused, and told which device", async () => {
  using first = await lock(goodRig);
  const second = changed(otherName, ["Camera A", "Camera B"], ["Cap A", "Cap B"]);
  const refused = lock(second, "two.sqlite");
  await expect(refused).rejects.toThrow(RigBusyError);
  await expect(refused).rejects.toThrow("is using the mount Mount A on 127.0.0.1 port 7624");
  expect(first).toBeDefined();
});

test("given back, all of it can be had again; a refused one holds nothing", async () => {
  const first = await lock(goodRig);
  const shares = changed(otherName, ["Camera A", "Camera B"]);
  await expect(lock(shares, "two.sqlite")).rejects.toThrow(RigBusyError);
  using apart = await lock(changed(shares, ["Mount A", "Mount B"], ["Cap A", "Cap B"]), "two.sqlite");
  expect(apart).toBeDefined();
  first[Symbol.dispose]();
  using again = await lock(goodRig);
  expect(again).toBeDefined();
});

test.each([
  "localhost",
  "LOCALHOST.",
  "127.0.1.1",
  "::1",
  "[::1]",
  "::ffff:127.0.0.1",
  "0.0.0.0",
  hostname(),
])("%s is this machine", async (host) => {
  using first = await lock(goodRig);
  await expect(lock(at(host), "two.sqlite")).rejects.toThrow(RigBusyError);
  expect(first).toBeDefined();
});

test("a name of another machine and its address are one server; two machines are two, and so are two ports", async () => {
  known = { "hut.lan": ["192.168.1.20", "fe80::1"], "own.lan": ["127.0.0.1"] };
  using first = await lock(at("hut.lan"));
  await expect(lock(at("192.168.1.20"), "two.sqlite")).rejects.toThrow(RigBusyError);
  await expect(lock(at("HUT.lan."), "two.sqlite")).rejects.toThrow(RigBusyError);
  using other = await lock(at("192.168.1.21"), "two.sqlite");
  using port = await lock(changed(at("hut.lan"), ["7624", "7625"]), "three.sqlite");
  using own = await lock(goodRig, "four.sqlite");
  await expect(lock(at("own.lan"), "five.sqlite")).rejects.toThrow(RigBusyError);
  expect([first, other, port, own].every(Boolean)).toBe(true);
});

test("a name that is not known is locked as it is written", async () => {
  using first = await lock(at("nowhere.lan"));
  await expect(lock(at("nowhere.lan"), "two.sqlite")).rejects.toThrow(RigBusyError);
  expect(first).toBeDefined();
});

test("two rigs share a weather station, and a box of switches by its switches", async () => {
  const withStation = (text: string, dome: string) =>
    changed(
      text,
      [/ {2}mount: .*\n/, ""],
      ["servers:\n", "servers:\n  hut:\n    alpaca: { host: 10.0.0.2, port: 11111 }\n"],
      [/ {2}cover: .*\n/, `  cover: { server: hut, device: switch/0, switch: ${dome} }\n`],
      ["train:", "  weather: { server: home, device: Station }\ntrain:"],
    );
  using first = await lock(withStation(goodRig, "West"));
  using second = await lock(changed(withStation(otherName, "East"), ["Camera A", "Camera B"]));
  const third = changed(withStation(otherName, "West"), ["Camera A", "Camera C"]);
  await expect(lock(third, "two.sqlite")).rejects.toThrow("the cover switch/0 on 10.0.0.2 port 11111");
  expect([first, second].every(Boolean)).toBe(true);
});

test("one rig of one ledger is one, whatever its devices", async () => {
  using first = await lock(goodRig);
  const moved = changed(goodRig, ["Camera A", "B"], ["Mount A", "C"], ["Cap A", "D"]);
  await expect(lock(moved)).rejects.toThrow("is using the rig garden");
  using elsewhere = await lock(moved, "two.sqlite");
  expect([first, elsewhere].every(Boolean)).toBe(true);
});

test("every user may lock; what is no folder for it is said", async () => {
  using first = await lock(goodRig);
  expect(first).toBeDefined();
  expect(statSync(join(folder, "locks")).mode & 0o7777).toBe(0o1777);
  for (const name of readdirSync(join(folder, "locks")))
    expect(statSync(join(folder, "locks", name)).mode & 0o666).toBe(0o666);
  writeFileSync(join(folder, "file"), "");
  const lockFolder = join(folder, "file");
  const options = { clock: new VirtualClock(0), lockFolder };
  const refused = lockRig(join(folder, "x"), readRigFile(goodRig, "rig.yaml"), options);
  await expect(refused).rejects.toThrow(LockFolderError);
});
