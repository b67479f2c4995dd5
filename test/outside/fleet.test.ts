import { type ChildProcess, spawn, spawnSync } from "node:child_process";
import { once } from "node:events";
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from "node:fs";
import { createServer } from "node:net";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { afterAll, expect, test } from "vitest";
import type { RigState } from "../../agent/service/notices/rig-state.ts";
import { mqttSender } from "../../agent/service/notices/senders/mqtt.ts";
import { systemClock } from "../../drivers/kit/clock.ts";

const folder = mkdtempSync(join(tmpdir(), "evenfield-fleet-"));
let broker: ChildProcess | undefined;
afterAll(() => {
  broker?.kill("SIGKILL");
  rmSync(folder, { recursive: true });
});

async function startBroker(): Promise<number> {
  const server = createServer().listen(0, "127.0.0.1");
  await once(server, "listening");
  const { port } = server.address() as { port: number };
  server.close();
  await once(server, "close");
  const config = join(folder, "broker.conf");
  writeFileSync(config, `listener ${port} 127.0.0.1\nallow_anonymous true\npersistence false\nuser root\n`);
  broker = spawn("mosquitto", ["-v", "-c", config], { stdio: ["ignore", "ignore", "pipe"] });
  for await (const text of broker.stderr!.setEncoding("utf8")) if (text.includes(" running")) break;
  return port;
}

const count = 200;
const nameOf = (index: number) => `rig-${String(index).padStart(3, "0")}`;

function stateOf(index: number): RigState {
  const isHeld = index % 50 === 7;
  return {
    rig: nameOf(index),
    utc: "2026-07-14T10:00:00.000Z",
    state: isHeld ? "held" : index % 3 === 0 ? "running" : "standing by",
    because: isHeld ? "the filter was inspected 91 days ago" : "the next thing, flat, is due",
    sinceUtc: "2026-07-14T09:00:00.000Z",
    ...(isHeld ? { whatToDo: "Inspect the filter." } : {}),
  };
}

test("200 rigs on one broker of somebody else's stand in one table and on one page", async () => {
  const port = await startBroker();
  const address = `mqtt://127.0.0.1:${port}`;
  const rigs = Array.from({ length: count }, (_, index) =>
    mqttSender({ broker: address, topic: "sky" }, nameOf(index), systemClock),
  );
  for (const [index, rig] of rigs.entries()) rig.showState!(JSON.stringify(stateOf(index)));
  const { signal } = new AbortController();
  const notice = { id: 1, utcMs: 0, kind: "service", phase: "happened", text: "." } as const;
  // Acknowledged after the state, which was published before it.
  await Promise.all(rigs.map((rig, index) => rig.send({ ...notice, rig: nameOf(index) }, signal)));
  await rigs[11]!.close!();
  const publish = (topic: string, text: string) =>
    spawnSync("mosquitto_pub", ["-p", String(port), "-q", "1", "-r", "-t", topic, "-m", text]);
  publish("sky/rig-012/present", "lost");
  publish("sky/rig-013/state", "{ not json");
  publish("sky/rig-014/state", JSON.stringify(stateOf(15)));

  const page = join(folder, "rigs.html");
  const main = join(import.meta.dirname, "../../agent/main.ts");
  // Not `spawnSync`: the rigs in this process have to answer the broker.
  const child = spawn(process.execPath, [
    main,
    "fleet",
    "--broker",
    address,
    "--topic",
    "sky",
    "--page",
    page,
    "--json",
  ]);
  let out = "";
  child.stdout.setEncoding("utf8").on("data", (text: string) => {
    out += text;
  });
  await once(child, "close");
  await Promise.all(rigs.map((rig) => rig.close!()));

  const { result, exitCode } = JSON.parse(out);
  expect(exitCode).toBe(0);
  const namesOf = (standing: string) =>
    result.rigs
      .filter((row: { standing: string }) => row.standing === standing)
      .map((row: { rig: string }) => row.rig);
  expect(result.rigs).toHaveLength(count);
  expect(namesOf("needs a person")).toEqual(["rig-007", "rig-057", "rig-107", "rig-157"]);
  expect(namesOf("stopped")).toEqual(["rig-011"]);
  expect(namesOf("silent")).toEqual(["rig-012"]);
  expect(namesOf("not understood")).toEqual(["rig-013", "rig-014"]);
  expect(result.rigs[0].rig).toBe("rig-007");
  const html = readFileSync(page, "utf8");
  for (let index = 0; index < count; index++) expect(html).toContain(`>${nameOf(index)}</span>`);
  expect(html).toContain("200 rigs: needs a person 4, silent 1, not understood 2");
});
