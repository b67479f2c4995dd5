import { chmodSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from "node:fs";
import { connect } from "node:net";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { afterAll, beforeAll, beforeEach, expect, test } from "vitest";
import { openActing } from "../../../../agent/commands/serve-acting.ts";
import { Ledger } from "../../../../agent/run/ledger/ledger.ts";
import type { PersonDeed } from "../../../../agent/service/deeds/person-deeds.ts";
import { Wishes } from "../../../../agent/service/deeds/wishes.ts";
import { type ListenedPage, listenPage } from "../../../../agent/service/page/listen-page.ts";
import type { ServiceStatus } from "../../../../agent/service/service-status.ts";
import { systemClock } from "../../../../drivers/kit/clock.ts";
import { silentLog } from "../../../../drivers/kit/log.ts";

const folder = mkdtempSync(join(tmpdir(), "evenfield-act-"));
const tokenFile = join(folder, "token");
const rigPath = join(folder, "rig.yaml");
const rigText = readFileSync(join(import.meta.dirname, "../../../../plans/demo-rig.yaml"), "utf8");
const token = "a-token-of-this-test-that-is-long";
const ledger = new Ledger(":memory:");
const site = { latitudeDegrees: 47, longitudeDegrees: 8, elevationMetres: 500, timeZone: "Europe/Zurich" };
let state: ServiceStatus["state"] = "standing by";
let nowSeconds = 0;
const wished: PersonDeed[] = [];
let page: ListenedPage;

beforeAll(async () => {
  writeFileSync(tokenFile, `${token}\n`, { mode: 0o600 });
  const status = () => ({ state, sinceUtcMs: 0, because: "evening is due" });
  const clock = {
    ...systemClock,
    nowMs: () => Date.UTC(2026, 6, 14, 10),
    monotonicSeconds: () => nowSeconds,
  };
  const wishes = new Wishes();
  const acting = openActing(tokenFile, { rigPath, wishes, clock, log: silentLog, status });
  const carryOut: typeof acting.carryOut = (deed, who) => {
    const text = acting.carryOut(deed, who);
    wishes.writeDown((one) => wished.push(one));
    return text;
  };
  const look = () => ({ site, agenda: { rows: [], none: [] }, attempts: [] });
  const about = {
    rig: "garden",
    timeZone: site.timeZone,
    runsFolder: folder,
    ledger,
    nowMs: clock.nowMs,
    status,
    look,
  };
  page = await listenPage(
    { host: "127.0.0.1", port: 0 },
    { ...about, acting: { ...acting, carryOut } },
    silentLog,
  );
});
beforeEach(() => {
  state = "standing by";
  nowSeconds += 120; // wrong tokens of other tests are forgotten
  wished.length = 0;
  writeFileSync(rigPath, rigText);
  writeFileSync(tokenFile, `${token}\n`);
});
afterAll(async () => {
  await page[Symbol.asyncDispose]();
  ledger[Symbol.dispose]();
  rmSync(folder, { recursive: true });
});

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

const form = "application/x-www-form-urlencoded";
const origin = () => `http://localhost:${page.port}`;
interface Sent {
  readonly body?: string;
  readonly headers?: Readonly<Record<string, string>>;
  readonly host?: string;
}
async function post(path: string, { body = "", headers = {}, host = `localhost:${page.port}` }: Sent) {
  const all = { "Content-Type": form, "Content-Length": String(Buffer.byteLength(body)), ...headers };
  const lines = Object.entries(all).map(([name, value]) => `${name}: ${value}\r\n`);
  const answer = await exchange(
    `POST ${path} HTTP/1.1\r\nHost: ${host}\r\nConnection: close\r\n${lines.join("")}\r\n${body}`,
  );
  return { answer, status: Number(/^HTTP\/1\.1 (\d{3})/.exec(answer)?.[1]) };
}
async function signIn(): Promise<string> {
  const { answer } = await post("/sign-in", { body: `token=${token}`, headers: { Origin: origin() } });
  return /set-cookie: ([^;]+);/i.exec(answer)![1]!;
}
const bearer = { Authorization: `Bearer ${token}` };
const get = (path: string, cookie?: string) =>
  exchange(
    `GET ${path} HTTP/1.1\r\nHost: localhost:${page.port}\r\nConnection: close\r\n${cookie ? `Cookie: ${cookie}\r\n` : ""}\r\n`,
  );

test("a browser signs in, sees the deeds, acts, and signs out", async () => {
  expect(await get("/")).toContain('<a href="/act">');
  expect(await get("/act")).toContain('name="token"');
  const { answer, status } = await post("/sign-in", {
    body: `token=${token}`,
    headers: { Origin: origin() },
  });
  expect(status).toBe(303);
  expect(answer).toMatch(
    /set-cookie: __Host-evenfield=[\w-]{43}; Path=\/; Secure; HttpOnly; SameSite=Strict/i,
  );
  expect(answer).not.toContain(token);
  const cookie = await signIn();
  const shown = await get("/act", cookie);
  expect(shown).toContain("Stop and put back");
  expect(shown).toMatch(/form-action 'self'/);
  expect(shown).not.toMatch(/^refresh:/im);
  expect(shown).toMatch(/^referrer-policy: same-origin\r$/im); // else browsers post the origin "null"
  const headers = { Origin: origin(), Cookie: cookie };
  expect(await post("/deeds", { body: "deed=stop&who=Ada", headers })).toMatchObject({ status: 303 });
  expect(wished).toMatchObject([{ deed: "stop", who: "Ada" }]);
  expect((await post("/sign-out", { headers })).status).toBe(303);
  expect((await post("/deeds", { body: "deed=stop&who=Ada", headers })).status).toBe(401);
});

test("a program acts by the token alone, with a form or JSON", async () => {
  const json = { ...bearer, "Content-Type": "application/json; charset=utf-8" };
  const held = await post("/deeds", {
    body: JSON.stringify({ deed: "hold", who: "a script" }),
    headers: json,
  });
  expect(held).toMatchObject({ status: 200 });
  expect((await post("/deeds", { body: "deed=go-on&who=a+script", headers: bearer })).status).toBe(200);
  expect(wished.map(({ deed }) => deed)).toEqual(["hold", "go-on"]);
});

test("an inspected filter is written into the rig file, but not while the telescope may be open", async () => {
  const confirm = () =>
    post("/deeds", { body: "deed=filter-inspected&who=Ada&inspected=yes", headers: bearer });
  state = "running";
  expect((await confirm()).status).toBe(409);
  expect(readFileSync(rigPath, "utf8")).toBe(rigText);
  expect(wished).toEqual([]);
  state = "held";
  expect((await confirm()).status).toBe(200);
  expect(readFileSync(rigPath, "utf8")).toContain("lastConfirmed: 2026-07-14T10:00Z");
  expect(wished).toMatchObject([{ deed: "filter-inspected", who: "Ada" }]);
  writeFileSync(rigPath, "rig: [");
  const refused = await confirm();
  expect(refused.status).toBe(409);
  expect(readFileSync(rigPath, "utf8")).toBe("rig: [");
});

test("another token ends the sessions; one that others may read lets nobody in", async () => {
  const cookie = await signIn();
  writeFileSync(tokenFile, "another-token-that-is-long-enough\n");
  expect(await get("/act", cookie)).toContain('name="token"');
  expect((await post("/deeds", { body: "deed=hold&who=A", headers: bearer })).status).toBe(401);
  writeFileSync(tokenFile, `${token}\n`);
  chmodSync(tokenFile, 0o640);
  const { status, answer } = await post("/deeds", { body: "deed=hold&who=A", headers: bearer });
  chmodSync(tokenFile, 0o600);
  expect(status).toBe(500);
  expect(answer).not.toContain(tokenFile);
  expect(wished).toEqual([]);
});

test("after five wrong tokens in a minute only the right one is answered as before", async () => {
  const statuses: number[] = [];
  for (const tried of ["1", "2", "3", "4", "5", "6", token])
    statuses.push((await post("/sign-in", { body: `token=${tried}`, headers: { Origin: origin() } })).status);
  expect(statuses).toEqual([401, 401, 401, 401, 401, 429, 303]);
  const wrong = { Authorization: "Bearer 7" };
  expect((await post("/deeds", { body: "deed=hold&who=A", headers: wrong })).status).toBe(429);
  expect((await post("/deeds", { body: "deed=hold&who=A", headers: bearer })).status).toBe(200);
  nowSeconds += 61;
  expect((await post("/deeds", { body: "deed=hold&who=A", headers: wrong })).status).toBe(401);
});

test("a session ends after twelve hours", async () => {
  const headers = { Origin: origin(), Cookie: await signIn() };
  nowSeconds += 12 * 3600;
  expect((await post("/deeds", { body: "deed=hold&who=A", headers })).status).toBe(401);
});

/** What others may post, and the status that each gets; `session` stands for a true session's cookie. */
const deed = "deed=hold&who=Eve";
const hostile: readonly (readonly [name: string, path: string, sent: Sent, status: number])[] = [
  ["a deed without any proof", "/deeds", { body: deed }, 401],
  [
    "a deed with a session that never was",
    "/deeds",
    { body: deed, headers: { Cookie: `__Host-evenfield=${"A".repeat(43)}`, Origin: "own" } },
    401,
  ],
  ["a wrong token", "/deeds", { body: deed, headers: { Authorization: "Bearer wrong" } }, 401],
  [
    "the token's beginning",
    "/deeds",
    { body: deed, headers: { Authorization: `Bearer ${token.slice(0, -1)}` } },
    401,
  ],
  [
    "the token as a basic password",
    "/deeds",
    { body: deed, headers: { Authorization: `Basic ${Buffer.from(`a:${token}`).toString("base64")}` } },
    401,
  ],
  ["the token in the address", `/deeds?token=${token}`, { body: deed }, 405],
  [
    "another site's form with the session",
    "/deeds",
    { body: deed, headers: { Cookie: "session", Origin: "http://evil.example" } },
    403,
  ],
  [
    "another port of this computer with the session",
    "/deeds",
    { body: deed, headers: { Cookie: "session", Origin: "http://localhost:1" } },
    403,
  ],
  [
    "a page without an origin with the session",
    "/deeds",
    { body: deed, headers: { Cookie: "session", Origin: "null" } },
    403,
  ],
  ["no origin with the session", "/deeds", { body: deed, headers: { Cookie: "session" } }, 403],
  [
    "another site's request with the token",
    "/deeds",
    { body: deed, headers: { ...bearer, Origin: "http://evil.example" } },
    403,
  ],
  ["the same by https", "/deeds", { body: deed, headers: { ...bearer, Origin: "https://localhost" } }, 403],
  ["a foreign name that leads here", "/deeds", { body: deed, headers: bearer, host: "evil.example" }, 421],
  [
    "a foreign name and its own origin",
    "/deeds",
    { body: deed, headers: { Cookie: "session", Origin: "http://evil.example" }, host: "evil.example" },
    421,
  ],
  [
    "plain text that is a form",
    "/deeds",
    { body: deed, headers: { ...bearer, "Content-Type": "text/plain" } },
    415,
  ],
  ["no type", "/deeds", { body: deed, headers: { ...bearer, "Content-Type": "" } }, 415],
  [
    "several parts",
    "/deeds",
    { body: deed, headers: { ...bearer, "Content-Type": "multipart/form-data; boundary=a" } },
    415,
  ],
  ["an unknown deed", "/deeds", { body: "deed=open-cover&who=Eve", headers: bearer }, 400],
  ["nobody", "/deeds", { body: "deed=hold&who=+", headers: bearer }, 400],
  ["a name of two lines", "/deeds", { body: "deed=hold&who=Eve%0Aroot", headers: bearer }, 400],
  [
    "a name that turns the line round",
    "/deeds",
    { body: "deed=hold&who=%E2%80%AEeve", headers: bearer },
    400,
  ],
  ["a name of 61 letters", "/deeds", { body: `deed=hold&who=${"e".repeat(61)}`, headers: bearer }, 400],
  ["the same word twice", "/deeds", { body: `${deed}&who=Ada`, headers: bearer }, 400],
  ["a word too many", "/deeds", { body: `${deed}&rig=other`, headers: bearer }, 400],
  [
    "a filter that nobody says to have inspected",
    "/deeds",
    { body: "deed=filter-inspected&who=Eve", headers: bearer },
    400,
  ],
  [
    "JSON that is none",
    "/deeds",
    { body: "{", headers: { ...bearer, "Content-Type": "application/json" } },
    400,
  ],
  [
    "JSON with another prototype",
    "/deeds",
    {
      body: '{"__proto__":{"deed":"hold"},"who":"Eve"}',
      headers: { ...bearer, "Content-Type": "application/json" },
    },
    400,
  ],
  ["a list", "/deeds", { body: '["hold"]', headers: { ...bearer, "Content-Type": "application/json" } }, 400],
  ["5 kB", "/deeds", { body: `${deed}&more=${"a".repeat(5000)}`, headers: bearer }, 413],
  [
    "1 GB that is promised",
    "/deeds",
    { body: deed, headers: { ...bearer, "Content-Length": "1000000000" } },
    413,
  ],
  ["signing in with nothing", "/sign-in", { body: "", headers: { Origin: "own" } }, 400],
  [
    "signing in from another site",
    "/sign-in",
    { body: `token=${token}`, headers: { Origin: "http://evil.example" } },
    403,
  ],
  ["signing in without an origin", "/sign-in", { body: `token=${token}` }, 403],
  [
    "signing out for somebody else",
    "/sign-out",
    { headers: { Cookie: "session", Origin: "http://evil.example" } },
    403,
  ],
  ["acting where one signs in", "/act", { body: deed, headers: bearer }, 405],
  ["acting on the page", "/", { body: deed, headers: bearer }, 405],
  ["another spelling of the path", "/Deeds", { body: deed, headers: bearer }, 405],
  ["a path with more behind", "/deeds/", { body: deed, headers: bearer }, 405],
];

test.each(hostile)("%s", async (_, path, { headers = {}, ...sent }, status) => {
  const filled = {
    ...headers,
    ...(headers.Cookie === "session" ? { Cookie: await signIn() } : {}),
    ...(headers.Origin === "own" ? { Origin: origin() } : {}),
  };
  const { answer, status: got } = await post(path, { ...sent, headers: filled });
  expect(got).toBe(status);
  expect(wished).toEqual([]);
  expect(readFileSync(rigPath, "utf8")).toBe(rigText);
  expect(answer).not.toMatch(/^access-control-|evil\.example|set-cookie|\n {4}at /im);
  expect(answer).not.toContain(token);
});

test("a body in pieces is counted too", async () => {
  const piece = `${(1000).toString(16)}\r\n${"a".repeat(1000)}\r\n`;
  const answer = await exchange(
    `POST /deeds HTTP/1.1\r\nHost: localhost:${page.port}\r\nConnection: close\r\nContent-Type: ${form}\r\nAuthorization: Bearer ${token}\r\nTransfer-Encoding: chunked\r\n\r\n${piece.repeat(6)}0\r\n\r\n`,
  );
  expect(answer).toMatch(/^HTTP\/1\.1 413/);
});

test("a deed is none for who only gets the page", async () => {
  for (const path of ["/deeds", "/sign-in", "/sign-out"]) expect(await get(path)).toMatch(/^HTTP\/1\.1 404/);
});
