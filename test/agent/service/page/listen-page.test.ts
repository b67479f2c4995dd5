import { mkdirSync, mkdtempSync, rmSync, symlinkSync, writeFileSync } from "node:fs";
import { connect } from "node:net";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { afterAll, beforeAll, expect, test } from "vitest";
import { addMaster } from "../../../../agent/run/ledger/history.ts";
import { Ledger } from "../../../../agent/run/ledger/ledger.ts";
import { LedgerError } from "../../../../agent/run/ledger/ledger-error.ts";
import { type ListenedPage, listenPage } from "../../../../agent/service/page/listen-page.ts";
import type { PageSource } from "../../../../agent/service/page/page-facts.ts";
import { ScheduleRecord } from "../../../../agent/service/record/attempt-rows.ts";
import { silentLog } from "../../../../drivers/kit/log.ts";

const folder = mkdtempSync(join(tmpdir(), "evenfield-page-"));
const runsFolder = join(folder, "runs");
const nowUtcMs = Date.UTC(2026, 6, 14, 10);
const ledger = new Ledger(":memory:");
const site = { latitudeDegrees: 47, longitudeDegrees: 8, elevationMetres: 500, timeZone: "Europe/Zurich" };
let page: ListenedPage;
let ledgerFails = false;

const source: PageSource = {
  rig: "garden",
  timeZone: site.timeZone,
  runsFolder,
  ledger,
  nowMs: () => nowUtcMs,
  status: () => ({ state: "standing by", sinceUtcMs: nowUtcMs, because: "evening is due" }),
  look: () => {
    if (ledgerFails) throw new LedgerError("l.sqlite", "damaged", "its pages can't be checked");
    return {
      site,
      agenda: { rows: [], none: [] },
      attempts: new ScheduleRecord(ledger, "garden").attempts(0),
    };
  },
};

beforeAll(async () => {
  const run = join(runsFolder, "one");
  mkdirSync(join(run, "pictures"), { recursive: true });
  writeFileSync(join(run, "report.html"), "<!doctype html><title>report</title>");
  writeFileSync(join(run, "pictures", "flat.png"), "png");
  writeFileSync(join(run, ".hidden.json"), "{}");
  writeFileSync(join(run, "notes.sh"), "rm");
  writeFileSync(join(folder, "secret.json"), "not to be seen");
  symlinkSync(join(folder, "secret.json"), join(run, "link.json"));
  symlinkSync(folder, join(runsFolder, "elsewhere"));
  const covered = { proved: true, by: "a dark frame" };
  writeFileSync(
    join(run, "run.json"),
    JSON.stringify({ endedUtcMs: nowUtcMs, leftOnRig: { cover: "closed" }, safety: { covered } }),
  );
  const startedUtcMs = nowUtcMs - 3_600_000;
  const runId = ledger.beginRun({ rig: "garden", plan: "first-flat", folder: run, startedUtcMs });
  ledger.endRun(runId, { ended: "completed", exitCode: 0 });
  ledger.closeRun(runId);
  const master = {
    kind: "flat",
    runId,
    file: "f.fits",
    madeUtcMs: startedUtcMs,
    verdict: "usable",
    facts: {},
  } as const;
  addMaster(ledger, { rig: "garden", trainMark: "a" }, master);
  const times = { dueUtcMs: startedUtcMs, begunUtcMs: startedUtcMs, endedUtcMs: nowUtcMs };
  new ScheduleRecord(ledger, "garden").begin({ entry: "e", occasion: "o", ...times, ended: "done", runId });
  page = await listenPage({ host: "127.0.0.1", port: 0 }, source, silentLog);
});
afterAll(async () => {
  await page[Symbol.asyncDispose]();
  ledger[Symbol.dispose]();
  rmSync(folder, { recursive: true, force: true });
});

/** Sends it as it is, and hears until the other end closes. */
function exchange(request: string): Promise<string> {
  return new Promise((resolve, reject) => {
    let heard = "";
    const socket = connect(page.port, "127.0.0.1", () => socket.write(request));
    socket.on("data", (bytes) => {
      heard += bytes.toString("latin1");
    });
    socket.on("error", (error) => (heard === "" ? reject(error) : resolve(heard)));
    socket.on("close", () => resolve(heard));
  });
}

const lineAndHost = (line: string, host = `localhost:${page.port}`) =>
  `${line} HTTP/1.1\r\nHost: ${host}\r\nConnection: close\r\n`;
const get = (path: string, host?: string) => exchange(`${lineAndHost(`GET ${path}`, host)}\r\n`);
const statusOf = (answer: string) => Number(/^HTTP\/1\.1 (\d{3})/.exec(answer)?.[1]);

test("the page, health, metrics and a report, each with its true type and a policy that lets no script run but the page's own", async () => {
  const shown = await get("/");
  expect(statusOf(shown)).toBe(200);
  expect(shown).toMatch(/content-type: text\/html/i);
  expect(shown).toMatch(/content-security-policy: default-src 'none';[^\r]*style-src 'sha256-/i);
  expect(shown).toMatch(/script-src 'self'; connect-src 'self'\r/);
  expect(shown).toMatch(/<noscript><meta http-equiv="refresh" content="30"><\/noscript>/);
  expect(await get("/page.js")).toMatch(/content-type: text\/javascript/i);
  expect(shown).toContain('<a href="/runs/one/report.html">');
  expect(shown).toContain("by a dark frame");
  const health = await get("/health");
  expect(JSON.parse(health.split("\r\n\r\n")[1]!)).toMatchObject({
    rig: "garden",
    state: "standing by",
    sinceUtc: "2026-07-14T10:00:00.000Z",
    untilUtc: null,
    because: "evening is due",
  });
  const metrics = await get("/metrics");
  expect(metrics).toContain('evenfield_attempts_total{ended="done",rig="garden"} 1');
  expect(metrics).toContain('evenfield_last_flat_verdict{verdict="usable",rig="garden"} 1');
  const report = await get("/runs/one/report.html");
  expect(report).toMatch(/content-security-policy: default-src 'none';[^\r]*sandbox/i);
  expect(report).toContain("<title>report</title>");
  expect(await get("/runs/one/pictures/flat.png")).toMatch(/content-type: image\/png/i);
});

test("HEAD has the headers of GET and no body", async () => {
  const [head, body] = (await exchange(`${lineAndHost("HEAD /runs/one/report.html")}\r\n`)).split("\r\n\r\n");
  expect(head).toMatch(/^HTTP\/1\.1 200/);
  expect(head).toMatch(/content-length: 36/i);
  expect(body).toBe("");
});

/** What others may send, and the status that each gets. */
const hostile: readonly (readonly [name: string, request: () => string, status: number])[] = [
  ["a foreign name that leads here", () => `${lineAndHost("GET /", "evil.example")}\r\n`, 421],
  ["a name that begins like ours", () => `${lineAndHost("GET /", "localhost.evil.example")}\r\n`, 421],
  ["a user before the host", () => `${lineAndHost("GET /", "localhost@evil.example")}\r\n`, 421],
  ["no host", () => "GET / HTTP/1.1\r\nConnection: close\r\n\r\n", 400],
  ["an old request without a host", () => "GET / HTTP/1.0\r\n\r\n", 421],
  ["POST", () => `${lineAndHost("POST /")}Content-Length: 3\r\n\r\na=b`, 405],
  ["DELETE of a report", () => `${lineAndHost("DELETE /runs/one/report.html")}\r\n`, 405],
  ["OPTIONS of another site", () => `${lineAndHost("OPTIONS /")}Origin: http://evil.example\r\n\r\n`, 405],
  ["the way up", () => `${lineAndHost("GET /runs/../secret.json")}\r\n`, 400],
  ["the way up, encoded", () => `${lineAndHost("GET /runs/%2e%2e/secret.json")}\r\n`, 400],
  [
    "the way up with encoded slashes",
    () => `${lineAndHost("GET /runs/one%2f..%2f..%2fsecret.json")}\r\n`,
    400,
  ],
  ["encoded twice", () => `${lineAndHost("GET /runs/%252e%252e/secret.json")}\r\n`, 404],
  ["backslashes", () => `${lineAndHost("GET /runs/one/..\\..\\secret.json")}\r\n`, 400],
  ["a zero byte", () => `${lineAndHost("GET /runs/one/report.html%00.png")}\r\n`, 400],
  ["a broken escape", () => `${lineAndHost("GET /runs/%zz/report.html")}\r\n`, 400],
  ["two slashes", () => `${lineAndHost("GET //evil.example/")}\r\n`, 400],
  ["a whole address", () => `${lineAndHost("GET http://evil.example/")}\r\n`, 400],
  ["a link that leads out", () => `${lineAndHost("GET /runs/one/link.json")}\r\n`, 404],
  ["a folder that leads out", () => `${lineAndHost("GET /runs/elsewhere/secret.json")}\r\n`, 404],
  ["a hidden file", () => `${lineAndHost("GET /runs/one/.hidden.json")}\r\n`, 404],
  ["a file of no kind that is shown", () => `${lineAndHost("GET /runs/one/notes.sh")}\r\n`, 404],
  ["a folder", () => `${lineAndHost("GET /runs/one/pictures")}\r\n`, 404],
  ["the list of runs", () => `${lineAndHost("GET /runs")}\r\n`, 404],
  ["an unknown path", () => `${lineAndHost("GET /admin")}\r\n`, 404],
  ["a name that every object has", () => `${lineAndHost("GET /constructor")}\r\n`, 404],
  ["a path of 7000 letters", () => `${lineAndHost(`GET /${"a".repeat(7000)}`)}\r\n`, 404],
  ["headers of 9 kB", () => `${lineAndHost("GET /")}X: ${"a".repeat(9000)}\r\n\r\n`, 431],
  ["two lengths", () => `${lineAndHost("GET /")}Content-Length: 1\r\nContent-Length: 2\r\n\r\nab`, 400],
  [
    "a length and pieces",
    () => `${lineAndHost("POST /")}Content-Length: 5\r\nTransfer-Encoding: chunked\r\n\r\n0\r\n\r\n`,
    400,
  ],
  [
    "a wish for a socket",
    () =>
      `GET / HTTP/1.1\r\nHost: localhost\r\nConnection: Upgrade, close\r\nUpgrade: websocket\r\nSec-WebSocket-Version: 13\r\nSec-WebSocket-Key: AAAAAAAAAAAAAAAAAAAAAA==\r\n\r\n`,
    200,
  ],
  ["another site that watches", () => `${lineAndHost("GET /live")}Origin: http://evil.example\r\n\r\n`, 403],
  ["a foreign name that watches", () => `${lineAndHost("GET /live", "evil.example")}\r\n`, 421],
  ["no HTTP at all", () => "\x16\x03\x01\x02\x00\x01\r\n\r\n", 400],
];

test.each(hostile)("%s", async (_, request, status) => {
  const answer = await exchange(request());
  expect(statusOf(answer)).toBe(status);
  expect(answer).not.toContain("not to be seen");
  expect(answer).not.toMatch(/^access-control-|evil\.example|\n {4}at /im);
});

test("a ledger that can't be read is told, and the service's state with it", async () => {
  ledgerFails = true;
  try {
    expect(await get("/")).toContain("its pages can&#39;t be checked");
    expect(statusOf(await get("/health"))).toBe(200);
    expect(await get("/metrics")).toContain('evenfield_records_readable{rig="garden"} 0');
  } finally {
    ledgerFails = false;
  }
});

test("after all that it still answers", async () => {
  expect(statusOf(await get("/", `127.0.0.1:${page.port}`))).toBe(200);
  expect(statusOf(await get("/", `[::1]:${page.port}`))).toBe(200);
});

test("a connection on which nothing was asked is closed without an answer, which a browser would take for another's", async () => {
  const waits = { headersTimeout: 100, connectionsCheckingInterval: 50 };
  await using quick = await listenPage({ host: "127.0.0.1", port: 0 }, source, silentLog, waits);
  for (const begun of ["", "GET / HT"]) {
    const socket = connect(quick.port, "127.0.0.1");
    let answer = "";
    socket.on("data", (bytes) => {
      answer += String(bytes);
    });
    socket.on("error", () => {});
    if (begun) socket.write(begun);
    await new Promise((closed) => socket.on("close", closed));
    expect(answer, JSON.stringify(begun)).toBe("");
  }
});
