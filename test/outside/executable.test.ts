import { type ChildProcess, spawn, spawnSync } from "node:child_process";
import { once } from "node:events";
import { existsSync, mkdtempSync, readdirSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { basename, join } from "node:path";
import { afterAll, beforeAll, expect, test } from "vitest";
import { commandList } from "../../agent/commands/command-list.ts";
import { buildExecutable } from "../../agent/executables/build.ts";
import { writeFitsFile } from "../../drivers/formats/fits-write.ts";
import { Random } from "../../drivers/kit/random.ts";

/** An empty folder, and no program anywhere in PATH: what a person has who copied one file. */
const folder = mkdtempSync(join(tmpdir(), "evenfield-alone-"));
const tools = mkdtempSync(join(tmpdir(), "evenfield-file-"));
const env = { HOME: folder, PATH: "/nowhere", MIMALLOC_PURGE_DELAY: "-1" };
let file: string;
let service: ChildProcess | undefined;

beforeAll(() => {
  file = buildExecutable(`linux-${process.arch}`, tools);
});
afterAll(() => {
  service?.kill("SIGKILL");
  for (const made of [folder, tools]) rmSync(made, { recursive: true });
});

function evenfield(...args: string[]) {
  const { status, stdout, stderr } = spawnSync(file, args, { cwd: folder, env, encoding: "utf8" });
  return { status, stdout, stderr };
}

test("one file is built, and nothing beside it", () => {
  expect(readdirSync(tools)).toEqual([basename(file)]);
});

test("the single file answers, and runs nothing that lies in the folder it is started in", () => {
  writeFileSync(join(folder, "bunfig.toml"), 'preload = ["./foreign.ts"]\n');
  writeFileSync(join(folder, "foreign.ts"), 'await Bun.write("foreign-ran", "");\n');
  const { status, stdout } = evenfield("--help");
  expect(status).toBe(0);
  for (const command of Object.keys(commandList)) expect(stdout).toContain(`  ${command} `);
  expect(existsSync(join(folder, "foreign-ran"))).toBe(false);
});

test("its kernels, its library and its second threads load: a master is made, and nothing is said of one thread", () => {
  const random = new Random(20260714);
  const frames = Array.from({ length: 8 }, (_, index) => {
    const name = `dark-${index}.fits`;
    const pixels = Uint16Array.from({ length: 2048 * 2048 }, () => 1000 + random.whole(0, 200));
    writeFitsFile(join(folder, name), [{ pixels, shape: [2048, 2048] }], { writtenUtcMs: 0, replace: false });
    return name;
  });
  const made = evenfield("combine", ...frames, "--kind", "dark", "--method", "clipped", "-o", "dark.fits");
  expect(made.status, made.stderr).toBe(0);
  expect(made.stdout).toContain("clipped of 8 frames of 2048 x 2048 px");
  expect(made.stderr).not.toContain("one thread");
});

test("its ways to tell somebody load: each says that nobody listens there", () => {
  const ways = [
    'mqtt: { broker: "mqtt://127.0.0.1:9" }',
    'webhook: { address: "http://127.0.0.1:9/" }',
    "mail: { host: 127.0.0.1, port: 9, from: a@b.example, to: [a@b.example], plainOnThisComputer: true }",
  ];
  const lines = ways.map((way, index) => `  - { name: n${index}, by: { ${way} } }\n`);
  writeFileSync(join(folder, "n.yaml"), `notices: n\nto:\n${lines.join("")}`);
  const { status, stdout, stderr } = evenfield("notices", "n.yaml", "--try");
  expect({ status, stderr }).toEqual({ status: 5, stderr: "" });
  expect(stdout.match(/did not get there: .*ECONNREFUSED/g)).toHaveLength(3);
});

test("the examples come out of it, and a day of them is rehearsed and then served", async () => {
  expect(evenfield("examples")).toMatchObject({ status: 0 });
  writeFileSync(
    join(folder, "plans/day.yaml"),
    'schedule: day\nentries:\n  - { entry: flat, plan: first-flat.yaml, when: { localTime: "10:00" } }\n',
  );
  const day = evenfield("rehearse", "--schedule", "plans/day.yaml", "--days", "1", "--seed", "1", "--json");
  const { result } = JSON.parse(day.stdout);
  expect(result, day.stderr).toMatchObject({ unsafe: [], forgotten: [] });
  expect(result.attempts).toHaveLength(1);

  const args = ["serve", "plans/day.yaml", "--rig", "plans/demo-rig.yaml", "--page", "0"];
  service = spawn(file, args, { cwd: folder, env, stdio: ["ignore", "ignore", "pipe"] });
  let said = "";
  for await (const text of service.stderr!.setEncoding("utf8")) {
    said += text;
    if (said.includes("standing by:")) break;
  }
  const address = /http:\S+/.exec(said)![0];
  expect((await fetch(`${address}health`)).status).toBe(200);
  service.kill("SIGTERM");
  expect(await once(service, "exit")).toEqual([0, null]);
});
