import { type ChildProcess, spawn, spawnSync } from "node:child_process";
import { once } from "node:events";
import { mkdirSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from "node:fs";
import { createServer } from "node:net";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { afterAll, expect, test, vi } from "vitest";
import { openManagerNews } from "../../agent/commands/serve-manager.ts";
import { Ledger } from "../../agent/run/ledger/ledger.ts";
import { listenPage } from "../../agent/service/page/listen-page.ts";
import { systemClock } from "../../drivers/kit/clock.ts";
import { silentLog } from "../../drivers/kit/log.ts";

/** Debian's `systemd-analyze`, `promtool` and `prometheus`, and Python's sockets, on what lies in plans/serve. */
const serveFiles = join(import.meta.dirname, "../../plans/serve");
const folder = mkdtempSync(join(tmpdir(), "evenfield-serve-files-"));
const started: ChildProcess[] = [];
afterAll(() => {
  for (const child of started) child.kill("SIGKILL");
  rmSync(folder, { recursive: true });
});

function run(program: string, args: readonly string[], input = "") {
  const { status, stdout, stderr } = spawnSync(program, args, { encoding: "utf8", input });
  return { status, text: `${stdout}${stderr}` };
}

test("systemd takes the unit without a word, and keeps the keeper, /tmp and the compiler's memory", () => {
  const unit = readFileSync(join(serveFiles, "evenfield.service"), "utf8");
  // The program is wherever a person put it; the user is root here, since `verify` wants one that exists.
  const here = unit
    .replace("/usr/local/bin/evenfield", process.execPath)
    .replace("User=evenfield", "User=root");
  const file = join(folder, "evenfield.service");
  writeFileSync(file, here);
  expect(run("systemd-analyze", ["verify", "--man=no", file])).toEqual({ status: 0, text: "" });
  expect(run("systemd-analyze", ["verify", "--man=no", broken(here)]).text).toContain("PrivateTmpp");
  expect(unit).toMatch(/^KillMode=process$/m);
  expect(unit).toMatch(/^PrivateTmp=no$/m);
  expect(unit).not.toMatch(/^(DynamicUser|MemoryDenyWriteExecute)=yes/m);
});

function broken(unit: string): string {
  const file = join(folder, "broken.service");
  writeFileSync(file, unit.replace("PrivateTmp=", "PrivateTmpp="));
  return file;
}

test("promtool takes the rules, and each speaks in its case", () => {
  const rules = join(serveFiles, "alerts.yml");
  expect(run("promtool", ["check", "rules", rules]).status).toBe(0);
  const labels = '{job="evenfield",rig="garden"}';
  const state = (name: string) => `evenfield_state{job="evenfield",rig="garden",state="${name}"}`;
  /** Alert, urgency, series and its values a minute each, and when it is asked [min]. */
  const cases: readonly (readonly [alert: string | undefined, series: Record<string, string>, at: number])[] =
    [
      ["RigSilent", { up: "0x20" }, 10],
      ["TelescopeNotKnownCovered", { [`evenfield_telescope_covered${labels}`]: "0x20" }, 15],
      [undefined, { [`evenfield_telescope_covered${labels}`]: "0x20", [state("running")]: "1x20" }, 15],
      ["RigHeld", { [state("held")]: "1x20" }, 10],
      ["RigNotPutBack", { [state("recovering")]: "1x40" }, 35],
      ["RecordsUnreadable", { [`evenfield_records_readable${labels}`]: "0x20" }, 15],
      ["FileUnusable", { [`evenfield_file_trouble${labels}`]: "1x20" }, 15],
      ["FlatBad", { 'evenfield_last_flat_verdict{job="evenfield",rig="garden",verdict="bad"}': "1x20" }, 5],
      ["FlatOld", { [`evenfield_last_flat_age_seconds${labels}`]: "1300000x20" }, 5],
      ["MemoryLarge", { [`evenfield_resident_memory_bytes${labels}`]: "600000000x20" }, 5],
    ];
  const names = [...readFileSync(rules, "utf8").matchAll(/- alert: (\w+)/g)].map(([, name]) => name!);
  expect(cases.flatMap(([name]) => name ?? [])).toEqual(names);
  const tests = cases.flatMap(([alert, series, at]) =>
    names
      .map((name) => ({ alert, series, at, name }))
      .filter(({ name }) => name === (alert ?? "TelescopeNotKnownCovered")),
  );
  // Which alerts fire is asked of the query language, so that labels and texts may change.
  const file = join(folder, "cases.yaml");
  const groups = tests.map(({ alert, series, at, name }) => ({
    interval: "1m",
    input_series: Object.entries({ 'up{job="evenfield"}': "1x60", ...series })
      .filter(([key]) => !(key === 'up{job="evenfield"}' && "up" in series))
      .map(([key, values]) => ({ series: key === "up" ? 'up{job="evenfield"}' : key, values })),
    promql_expr_test: [
      {
        expr: `count(ALERTS{alertstate="firing",alertname="${name}"})`,
        eval_time: `${at}m`,
        exp_samples: alert === undefined ? [] : [{ labels: "{}", value: 1 }],
      },
      {
        expr: `count(ALERTS{alertstate="firing"})`,
        eval_time: `${at}m`,
        exp_samples: alert === undefined ? [] : [{ labels: "{}", value: 1 }],
      },
    ],
  }));
  writeFileSync(file, JSON.stringify({ rule_files: [rules], evaluation_interval: "1m", tests: groups }));
  const tested = run("promtool", ["test", "rules", file]);
  expect(tested.text).toContain("SUCCESS");
  expect(tested.status).toBe(0);
});

async function freePort(): Promise<number> {
  const server = createServer().listen(0, "127.0.0.1");
  await once(server, "listening");
  const { port } = server.address() as { port: number };
  server.close();
  await once(server, "close");
  return port;
}

test("a Prometheus scrapes the service, knows its state, and shows it on the rigs' page", async () => {
  using ledger = new Ledger(":memory:");
  const site = { latitudeDegrees: 47, longitudeDegrees: 8, elevationMetres: 500, timeZone: "Europe/Zurich" };
  await using page = await listenPage(
    { host: "127.0.0.1", port: 0 },
    {
      rig: "garden",
      timeZone: site.timeZone,
      runsFolder: folder,
      ledger,
      nowMs: () => Date.UTC(2026, 6, 14, 10),
      status: () => ({ state: "held", sinceUtcMs: 0, because: "of the filter", whatToDo: "look at it" }),
      look: () => ({ site, agenda: { rows: [], none: [] }, attempts: [] }),
    },
    silentLog,
  );
  const text = await (await fetch(`http://127.0.0.1:${page.port}/metrics`)).text();
  expect(run("promtool", ["check", "metrics"], text)).toEqual({ status: 0, text: "" });
  // What rules and page name is there.
  const named = [
    readFileSync(join(serveFiles, "alerts.yml"), "utf8"),
    readFileSync(join(serveFiles, "rigs.html"), "utf8"),
  ].flatMap((file) => [...file.matchAll(/evenfield_[a-z_]+/g)].map(([name]) => name));
  const onlyWithFlats = ["evenfield_last_flat_verdict", "evenfield_last_flat_age_seconds"];
  for (const name of new Set(named))
    if (!onlyWithFlats.includes(name)) expect(text).toContain(`# TYPE ${name} `);

  const config = join(folder, "prometheus.yml");
  const job = { job_name: "evenfield", scrape_interval: "200ms", scrape_timeout: "200ms" };
  const targets = [{ targets: [`127.0.0.1:${page.port}`] }];
  const rule_files = [join(serveFiles, "alerts.yml")];
  writeFileSync(
    config,
    JSON.stringify({ rule_files, scrape_configs: [{ ...job, static_configs: targets }] }),
  );
  const port = await freePort();
  const data = join(folder, "data");
  mkdirSync(data);
  const child = spawn(
    "prometheus",
    [
      `--config.file=${config}`,
      `--storage.tsdb.path=${data}`,
      `--web.listen-address=127.0.0.1:${port}`,
      `--web.console.templates=${serveFiles}`,
    ],
    { stdio: "ignore" },
  );
  started.push(child);
  const base = `http://127.0.0.1:${port}`;
  await vi.waitFor(
    async () => {
      const query = encodeURIComponent('evenfield_state{rig="garden"} == 1');
      const answer = await (await fetch(`${base}/api/v1/query?query=${query}`)).json();
      expect(answer).toMatchObject({ data: { result: [{ metric: { state: "held" } }] } });
    },
    { timeout: 60_000, interval: 100 },
  );
  const shown = (await (await fetch(`${base}/consoles/rigs.html`)).text()).replace(/\s+/g, " ");
  expect(shown).toContain("<td>garden</td><td>held</td>");
  expect(shown).toContain("not known to be covered");
  child.kill("SIGTERM");
  await once(child, "exit");
});

const listener = `
import socket, sys
s = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
s.bind(sys.argv[1].replace("@", "\\0", 1) if sys.argv[1].startswith("@") else sys.argv[1])
print("bound", flush=True)
while True: print(repr(s.recv(4096).decode()), flush=True)
`;

test.each([join(folder, "notify"), `@evenfield-test-${process.pid}`])(
  "a service manager at %s hears that it is ready, how it is, and that it lives",
  async (path) => {
    const child = spawn("python3", ["-c", listener, path], { stdio: ["ignore", "pipe", "inherit"] });
    started.push(child);
    let heard = "";
    child.stdout.setEncoding("utf8").on("data", (text: string) => {
      heard += text;
    });
    await vi.waitFor(() => expect(heard).toContain("bound"), { timeout: 60_000, interval: 10 });
    const environment = { NOTIFY_SOCKET: path, WATCHDOG_USEC: "30000", WATCHDOG_PID: String(process.pid) };
    using news = (await openManagerNews(environment, systemClock, silentLog))!;
    news.ready();
    news.note({ state: "held", sinceUtcMs: 0, because: "of the filter\nWATCHDOG=trigger" });
    news.note({ state: "stopping", sinceUtcMs: 0, because: "it was told to stop" });
    const signsOfLife = () => heard.split("'WATCHDOG=1'").length - 1;
    await vi.waitFor(() => expect(signsOfLife()).toBeGreaterThan(2), { timeout: 60_000, interval: 10 });
    expect(heard.split("\n").filter((line) => !/bound|^$|^'WATCHDOG=1'$/.test(line))).toEqual([
      "'READY=1'",
      "'STATUS=held: of the filter WATCHDOG=trigger'",
      "'STOPPING=1\\nSTATUS=stopping: it was told to stop'",
    ]);
    child.kill();
    await once(child, "exit");
  },
);

test("without a service manager nothing is told, and one that is gone costs a line in the log", async () => {
  expect(await openManagerNews({}, systemClock, silentLog)).toBeUndefined();
  const warned: string[] = [];
  const log = { ...silentLog, warn: (_: object, text: string) => void warned.push(text) };
  using news = (await openManagerNews({ NOTIFY_SOCKET: join(folder, "nobody") }, systemClock, log))!;
  news.ready();
  expect(warned).toEqual(["the service manager did not take a message"]);
});
