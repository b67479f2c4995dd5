import { expect, test } from "vitest";
import { AlpacaDevice } from "../../../drivers/alpaca/session/device.ts";
import { waitUntil } from "../../../drivers/alpaca/session/wait-until.ts";
import { errorFor, plainErrorNumber } from "../../../drivers/alpaca/wire/errors.ts";
import { encodeParameters, numberText } from "../../../drivers/alpaca/wire/parameters.ts";
import { TransactionIds } from "../../../drivers/alpaca/wire/transaction-ids.ts";
import { number, text as textValue } from "../../../drivers/alpaca/wire/values.ts";
import { DeadlineError } from "../../../drivers/kit/errors.ts";
import { VirtualClock } from "../../../drivers/kit/virtual-clock.ts";
import { onAlpaca } from "./alpaca-bench.ts";
import { constant, text } from "./scripted-alpaca.ts";

test("transaction ids count from 1 and wrap past 0 without a sign", () => {
  const ids = new TransactionIds(7, 0xffff_fffd);
  expect([ids.next(), ids.next(), ids.next(), ids.next()]).toEqual([0xffff_fffe, 0xffff_ffff, 1, 2]);
  expect(new TransactionIds(7).next()).toBe(1);
});

test.each([
  [0, "0"],
  [-21.5, "-21.5"],
  [0.1 + 0.2, "0.30000000000000004"],
  [1e-7, "0.0000001"],
  [-1.5e-9, "-0.0000000015"],
  [1e21, "1000000000000000000000"],
  [1e-30, "0"],
  [-1e-30, "0"],
])("the number %d is sent as %s", (value, expected) => expect(numberText(value)).toBe(expected));

test("what is no number is never sent", () => {
  for (const value of [Number.NaN, Number.POSITIVE_INFINITY])
    expect(() => numberText(value)).toThrow(RangeError);
});

test("names keep their casing, booleans are words, text is escaped", () => {
  expect(encodeParameters({ BinX: 2, Light: true, Slaved: false, SensorName: "Wind & Rain=ü" })).toBe(
    "BinX=2&Light=True&Slaved=False&SensorName=Wind%20%26%20Rain%3D%C3%BC",
  );
});

test.each([
  [0x400, "RIG_MISSING_ABILITY"],
  [0x401, "RIG_REFUSED"],
  [0x407, "RIG_DEVICE_LOST"],
  [0x408, "RIG_REFUSED"],
  [0x40b, "RIG_REFUSED"],
  [0x40c, "RIG_MISSING_ABILITY"],
  [0x500, "RIG_REFUSED"],
  [-2147220480, "RIG_MISSING_ABILITY"],
  [-2147220473, "RIG_DEVICE_LOST"],
])("error number %d has the code %s", (errorNumber, code) => {
  expect(errorFor("D", "m", errorNumber, "why").code).toBe(code);
});

test("an older technique's number is the same number", () =>
  expect(plainErrorNumber(-2147220480)).toBe(0x400));

test("requests of one device go one after the other, those of two devices together, and a stop or a sign of life passes them all", () =>
  onAlpaca(
    (far) => {
      far.add("Focuser", "A", { position: constant(1), halt: { put: () => undefined } });
      far.add("Focuser", "B", { position: constant(2) });
    },
    async ({ server, far, signal, clock }) => {
      const [a, b] = [0, 1].map(
        (n) => new AlpacaDevice(server, { name: "x", type: "focuser", number: n }),
      ) as [AlpacaDevice, AlpacaDevice];
      let open: (() => void) | undefined;
      const gate = new Promise<void>((resolve) => {
        open = resolve;
      });
      const exchange = far.exchange.bind(far);
      far.exchange = async (request) => {
        const reply = await exchange(request);
        if (request.path.endsWith("focuser/0/position")) await gate;
        return reply;
      };
      const before = far.seen.length;
      const reads = [a.get("position", number, signal), a.get("position", number, signal)];
      expect(await b.get("position", number, signal)).toBe(2);
      await a.put("halt", {}, signal, { urgent: true });
      expect(await a.probe("name", textValue, signal)).toBe("A");
      const stop = new AbortController();
      const queued = a.get("position", number, stop.signal);
      stop.abort(new Error("no longer wanted"));
      await expect(queued).rejects.toThrow("no longer wanted");
      expect(far.seen.slice(before).map(({ path }) => path.slice(8))).toEqual([
        "focuser/0/position",
        "focuser/1/position",
        "focuser/0/halt",
        "focuser/0/name",
      ]);
      open!();
      expect(await Promise.all(reads)).toEqual([1, 1]);
      await clock.sleep(0);
    },
  ));

test("a member that is absent is asked for once, by 0x400 and by HTTP 400 alike, and again after connecting", () =>
  onAlpaca(
    (far) => void far.add("Focuser", "A", {}),
    async ({ server, far, signal }) => {
      const device = new AlpacaDevice(server, { name: "x", type: "focuser", number: 0 });
      far.intercept = ({ member }) => (member === "stepsize" ? text(400, "what?") : undefined);
      for (const member of ["temperature", "stepsize"]) {
        for (let i = 0; i < 3; i++) expect(await device.optional(member, number, signal)).toBeUndefined();
        expect(far.asked(member, "GET")).toHaveLength(1);
      }
      device.forgetAbsences();
      await device.optional("temperature", number, signal);
      expect(far.asked("temperature", "GET")).toHaveLength(2);
      expect(await device.get("name", textValue, signal)).toBe("A");
    },
  ));

test("a server whose numbers mean nothing is believed to restart a few times and then no more", () =>
  onAlpaca(
    (far) => void far.add("Focuser", "A", {}),
    async ({ server, far, signal }) => {
      const device = new AlpacaDevice(server, { name: "x", type: "focuser", number: 0 });
      for (let i = 0; i < 30; i++) {
        far.transactions = i % 2 === 0 ? 5 : 500;
        await device.get("name", textValue, signal);
      }
      expect(server.restartCount).toBeLessThan(8);
    },
  ));

test("waiting: nobody asks before the foreseen end, then often, then seldom, and the deadline says what for", async () => {
  const clock = new VirtualClock(0);
  const looks: number[] = [];
  const options = {
    clock,
    device: "D",
    what: "the thing",
    withinSeconds: 200,
    expectSeconds: 60,
    precisionSeconds: 0.1,
  };
  const waiting = waitUntil(
    options,
    async () => {
      looks.push(clock.nowMs() / 1000);
      return undefined;
    },
    new AbortController().signal,
  );
  await expect(clock.drive(waiting)).rejects.toThrow(/D: the thing did not end within 200.0 s/);
  expect(looks[0]).toBe(60);
  expect(looks[1]! - looks[0]!).toBeCloseTo(0.1, 6);
  const pauses = looks.slice(1).map((at, i) => at - looks[i]!);
  expect(Math.max(...pauses)).toBeLessThanOrEqual(1.0001);
  expect(looks.length).toBeLessThan(180);
  await expect(
    clock.drive(
      waitUntil({ ...options, expectSeconds: 0 }, async () => undefined, AbortSignal.abort(new Error("no"))),
    ),
  ).rejects.toThrow("no");
  expect(await clock.drive(waitUntil(options, async () => 7, new AbortController().signal))).toBe(7);
  await expect(clock.drive(waiting)).rejects.toBeInstanceOf(DeadlineError);
});
