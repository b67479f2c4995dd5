import { mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { afterAll, expect, test } from "vitest";
import { Ledger } from "../../../../agent/run/ledger/ledger.ts";
import type { NewNotice } from "../../../../agent/service/notices/notice.ts";
import { NoticeBook } from "../../../../agent/service/notices/notice-book.ts";
import { NoticeDesk } from "../../../../agent/service/notices/notice-desk.ts";
import type { NoticeSender } from "../../../../agent/service/notices/notice-sender.ts";
import type { Clock } from "../../../../drivers/kit/clock.ts";
import type { Log } from "../../../../drivers/kit/log.ts";
import { VirtualClock } from "../../../../drivers/kit/virtual-clock.ts";
import { readNotices } from "../../../../plans/notices-file.ts";

const folder = mkdtempSync(join(tmpdir(), "evenfield-notices-"));
afterAll(() => rmSync(folder, { recursive: true }));
let files = 0;
const startUtcMs = Date.parse("2026-07-14T10:00:00Z");

const receivers = (lines: string) => readNotices(`notices: n\nto:\n${lines}`, "n.yaml").to;
const one = receivers("  - { name: me, by: { command: [tell] } }\n");

/** A network that is there or not, and what got through it. */
class Network implements NoticeSender {
  isThere = true;
  readonly got: string[] = [];
  async send({ text }: { text: string }): Promise<void> {
    if (!this.isThere) throw new Error("no route to the host");
    this.got.push(text);
  }
}

function setUp(network: NoticeSender, { file = join(folder, `${files++}.sqlite`), to = one } = {}) {
  const clock = new VirtualClock(startUtcMs);
  const ledger = new Ledger(file);
  const warned: string[] = [];
  const note = (fields: object) => void warned.push(JSON.stringify(fields));
  const log: Log = { debug() {}, info() {}, warn: note, error: note };
  const posts = to.map((receiver) => ({ receiver, sender: network }));
  const desk = new NoticeDesk({ book: new NoticeBook(ledger, "hut"), posts, timeZone: "UTC", clock, log });
  return { clock, ledger, desk, warned, file };
}

const notice = (text: string, kind: NewNotice["kind"] = "run-done"): NewNotice => ({
  utcMs: startUtcMs,
  kind,
  phase: "happened",
  text,
});

test("what can't be sent is kept, and sent by a later process, each once and in order", async () => {
  const network = new Network();
  network.isThere = false;
  const first = setUp(network);
  first.desk.add([notice("one")]);
  first.desk.add([notice("two")]);
  await first.clock.drive(first.clock.sleep(300));
  expect(first.warned).toEqual(['{"receiver":"me","error":"no route to the host"}']);
  await first.clock.drive(first.desk[Symbol.asyncDispose]());
  first.ledger[Symbol.dispose]();

  network.isThere = true;
  const second = setUp(network, { file: first.file });
  await second.clock.drive(second.clock.sleep(600));
  expect(network.got).toEqual(["one", "two"]);
  await second.clock.drive(second.desk[Symbol.asyncDispose]());
  second.ledger[Symbol.dispose]();
  const third = setUp(network, { file: first.file });
  await third.clock.drive(third.clock.sleep(7200));
  expect(network.got).toEqual(["one", "two"]);
  await third.clock.drive(third.desk[Symbol.asyncDispose]());
  third.ledger[Symbol.dispose]();
});

test("one receiver that never answers holds up neither the service nor another, nor the end", async () => {
  const well = new Network();
  const clock = new VirtualClock(0);
  using ledger = new Ledger(":memory:");
  const to = receivers("  - { name: a, by: { command: [x] } }\n  - { name: b, by: { command: [y] } }\n");
  const posts = [
    {
      receiver: to[0]!,
      sender: { send: () => new Promise<void>(() => {}), close: () => new Promise<void>(() => {}) },
    },
    { receiver: to[1]!, sender: well },
  ];
  // `hold` would keep this clock still for what never ends.
  const freeClock: Clock = {
    nowMs: () => clock.nowMs(),
    monotonicSeconds: () => clock.monotonicSeconds(),
    setTimer: (seconds, callback) => clock.setTimer(seconds, callback),
    sleep: (seconds, signal) => clock.sleep(seconds, signal),
    hold: (work) => work,
  };
  const log = { debug() {}, info() {}, warn() {}, error() {} };
  const desk = new NoticeDesk({
    book: new NoticeBook(ledger, "r"),
    posts,
    timeZone: "UTC",
    clock: freeClock,
    log,
  });
  desk.add([notice("news")]);
  await clock.drive(clock.sleep(1));
  expect(well.got).toEqual(["news"]);
  await clock.drive(desk[Symbol.asyncDispose]());
});

test("a ledger that fails keeps nobody from being told", async () => {
  const network = new Network();
  const { clock, ledger, desk, warned } = setUp(network);
  ledger[Symbol.dispose]();
  desk.add([notice("the ledger is full", "person-needed")]);
  await clock.drive(clock.sleep(1));
  expect(network.got).toEqual(["the ledger is full"]);
  expect(warned.join()).toContain("closed database");
  await clock.drive(desk[Symbol.asyncDispose]());
});

test("of too many the least urgent are dropped, and the next one says how many", async () => {
  const network = new Network();
  network.isThere = false;
  const { clock, desk, ledger } = setUp(network, {
    to: receivers("  - { name: me, by: { command: [x] }, perHourMost: 1000 }\n"),
  });
  desk.add([notice("grave", "not-restored")]);
  for (let n = 0; n < 305; n++) desk.add([notice(`run ${n}`)]);
  network.isThere = true;
  await clock.drive(clock.sleep(4000));
  expect(network.got).toHaveLength(300);
  expect(network.got.filter((text) => text.startsWith("grave"))).toHaveLength(1);
  expect(network.got[0]).toMatch(/\(6 earlier and less urgent notices could not be kept\.\)$/);
  expect(network.got.at(-1)).toBe("run 304");
  await clock.drive(desk[Symbol.asyncDispose]());
  ledger[Symbol.dispose]();
});

test("what was told before a restart is not told anew, and its end is", async () => {
  const network = new Network();
  const first = setUp(network);
  const held = { state: "held", sinceUtcMs: 0, because: "a trip", whatToDo: "Look." } as const;
  first.desk.noteStatus(held);
  await first.clock.drive(first.desk[Symbol.asyncDispose]());
  first.ledger[Symbol.dispose]();
  const second = setUp(network, { file: first.file });
  second.desk.noteStatus(held);
  second.desk.noteStatus({ state: "standing by", sinceUtcMs: 0, because: "the next thing is due" });
  await second.clock.drive(second.desk[Symbol.asyncDispose]());
  second.ledger[Symbol.dispose]();
  expect(network.got).toEqual(["A trip.", "Nothing is held any more; the schedule goes on. It was: a trip."]);
});

test("while the rig is worked with nothing waits for the ledger, and nothing is lost by it", async () => {
  const network = new Network();
  const { clock, desk, ledger } = setUp(network);
  desk.add([notice("before")]);
  desk.noteStatus({ state: "running", sinceUtcMs: 0, because: "flat is carried out" });
  const posts = "select count(*) as n from notice_posts where sent = 1";
  const sent = () => ledger.read((database) => database.query<{ n: number }, []>(posts).get()!.n);
  await clock.drive(clock.sleep(5));
  expect({ got: network.got, sent: sent() }).toEqual({ got: ["before"], sent: 0 });
  desk.noteStatus({ state: "standing by", sinceUtcMs: 0, because: "…" });
  expect(sent()).toBe(1);
  await clock.drive(desk[Symbol.asyncDispose]());
  ledger[Symbol.dispose]();
});
