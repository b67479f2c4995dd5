import { type ChildProcess, spawn, spawnSync } from "node:child_process";
import { once } from "node:events";
import { chmodSync, mkdtempSync, rmSync, writeFileSync } from "node:fs";
import { createServer } from "node:net";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { afterAll, expect, test } from "vitest";

/** Debian's `mosquitto`, `mosquitto_sub` and `python3-aiosmtpd` on the other side of `serve` and `notices`. */
const root = join(import.meta.dirname, "../..");
const folder = mkdtempSync(join(tmpdir(), "evenfield-told-"));
const started: ChildProcess[] = [];
afterAll(() => {
  for (const child of started) child.kill("SIGKILL");
  rmSync(folder, { recursive: true });
});

const password = "a-password-of-this-test";

function start(program: string, args: readonly string[]) {
  const child = spawn(program, args, { stdio: ["ignore", "pipe", "pipe"] });
  started.push(child);
  const out = { text: "" };
  const waiting: (() => void)[] = [];
  for (const stream of [child.stdout, child.stderr])
    stream.setEncoding("utf8").on("data", (text: string) => {
      out.text += text;
      for (const look of waiting) look();
    });
  const seen = (what: RegExp | string) =>
    new Promise<void>((resolve) => {
      const look = () =>
        (typeof what === "string" ? out.text.includes(what) : what.test(out.text)) && resolve();
      waiting.push(look);
      look();
    });
  return { child, out, seen };
}

async function freePort(): Promise<number> {
  const server = createServer().listen(0, "127.0.0.1");
  await once(server, "listening");
  const { port } = server.address() as { port: number };
  server.close();
  await once(server, "close");
  return port;
}

function file(name: string, text: string, mode = 0o600): string {
  const path = join(folder, name);
  writeFileSync(path, text);
  chmodSync(path, mode);
  return path;
}

async function startBroker(port: number) {
  const passwords = join(folder, "passwords");
  spawnSync("mosquitto_passwd", ["-b", "-c", passwords, "rigs", password]);
  const lines = [
    `listener ${port} 127.0.0.1`,
    "allow_anonymous false",
    `password_file ${passwords}`,
    "persistence false",
    "user root",
  ];
  const broker = start("mosquitto", ["-v", "-c", file("broker.conf", `${lines.join("\n")}\n`)]);
  await broker.seen(" running");
  return broker;
}

const sub = (port: number) =>
  start("mosquitto_sub", [
    ...["-p", String(port), "-u", "rigs", "-P", password, "-V", "5"],
    ...["-t", "sky/#", "-F", "%r %t %p", "-q", "1"],
  ]);

test("a service shows itself on a broker, is told as stopped at its end and as lost when it is killed", async () => {
  const port = await freePort();
  const broker = await startBroker(port);
  const mqtt = `{ broker: "mqtt://127.0.0.1:${port}", topic: sky, user: rigs, passwordFile: ${file("password", password)} }`;
  const notices = file("n.yaml", `notices: n\nto:\n  - { name: b, by: { mqtt: ${mqtt} } }\n`);
  const plan = join(root, "plans/first-flat.yaml");
  const schedule = file(
    "s.yaml",
    `schedule: s\nentries:\n  - { entry: flat, plan: ${plan}, when: { localTime: "10:00" } }\n`,
  );
  const serve = () =>
    start(process.execPath, [
      ...[join(root, "agent/main.ts"), "serve", schedule, "--rig", join(root, "plans/demo-rig.yaml")],
      ...["--ledger", join(folder, "l.sqlite"), "--runs", join(folder, "runs"), "--notices", notices],
    ]);
  const watcher = sub(port);
  await broker.seen(/Sending SUBACK/);
  const first = serve();
  await watcher.seen("0 sky/demo/present yes");
  await watcher.seen(/0 sky\/demo\/state .*"state":"(standing by|held)"/);
  await watcher.seen(/0 sky\/demo\/notice .*"kind":"service".*The service of demo has begun\./);
  first.child.kill("SIGTERM");
  await once(first.child, "exit");
  await watcher.seen(/notice .*The service of demo has ended\./);
  await watcher.seen("0 sky/demo/present stopped");
  expect(watcher.out.text).not.toContain("lost");

  const second = serve();
  await watcher.seen(/present stopped[\s\S]*present yes/);
  const later = sub(port);
  await later.seen("1 sky/demo/present yes");
  await later.seen(/1 sky\/demo\/state \{/);
  second.child.kill("SIGKILL");
  await watcher.seen("0 sky/demo/present lost");
  for (const { text } of [first.out, second.out]) expect(text).not.toContain(password);
  for (const { text } of [first.out, second.out]) expect(text).not.toContain("Deprecation");
});

test("--try: a mail arrives, and of a broker that refuses the password the reason is told without it", async () => {
  const [smtp, broker] = [await freePort(), await freePort()];
  const sink = start("/usr/bin/python3", [
    "-u",
    "-m",
    "aiosmtpd",
    "-n",
    "-c",
    "aiosmtpd.handlers.Debugging",
    "stdout",
    "-l",
    `127.0.0.1:${smtp}`,
  ]);
  const brokerRuns = await startBroker(broker);
  const watcher = sub(broker);
  await brokerRuns.seen(/Sending SUBACK/);
  const wrong = file("wrong", "not-the-password");
  const notices = file(
    "try.yaml",
    `notices: n
to:
  - { name: ok, by: { mqtt: { broker: "mqtt://127.0.0.1:${broker}", topic: sky, user: rigs, passwordFile: ${file("right", password)} } } }
  - { name: m, by: { mail: { host: 127.0.0.1, port: ${smtp}, from: rig@a.example, to: [me@b.example], plainOnThisComputer: true } } }
  - { name: b, by: { mqtt: { broker: "mqtt://127.0.0.1:${broker}", user: rigs, passwordFile: ${wrong} } } }
`,
  );
  await answers(smtp);
  const ended = start(process.execPath, [join(root, "agent/main.ts"), "notices", notices, "--try", "--json"]);
  await once(ended.child, "close");
  const { result, exitCode } = JSON.parse(ended.out.text);
  expect(exitCode).toBe(5);
  expect(result.to[0]).toMatchObject({ name: "ok", trouble: null });
  expect(result.to[1]).toMatchObject({ name: "m", trouble: null });
  expect(result.to[2].trouble).toMatch(/not reached.*([Nn]ot authorized|password)/);
  expect(ended.out.text).not.toContain("not-the-password");
  // A trial leaves no rig behind on the broker.
  await watcher.seen(/0 sky\/trial\/notice .*This is a trial/);
  expect(watcher.out.text).not.toContain("present");
  await sink.seen("Subject: trial: service");
  await sink.seen("This is a trial: notices get here. Nothing happened to any rig.");
});

/** Until something listens there. */
async function answers(port: number): Promise<void> {
  for (;;) {
    const isThere = await Bun.connect({
      hostname: "127.0.0.1",
      port,
      socket: { data() {} },
    }).then(
      (socket) => Boolean(socket.end()) || true,
      () => false,
    );
    if (isThere) return;
    await Bun.sleep(50);
  }
}
