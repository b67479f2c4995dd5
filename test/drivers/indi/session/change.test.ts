import { describe, expect, test } from "vitest";
import { readsBack } from "../../../../drivers/indi/wire/property.ts";
import {
  DeadlineError,
  DeviceLostError,
  MissingAbilityError,
  OutOfLimitsError,
  ReadbackError,
  RefusedError,
} from "../../../../drivers/kit/errors.ts";
import { vector } from "../far-end.ts";
import { signal, testDevice } from "../test-client.ts";

const within = { withinSeconds: 60 };
const set = (state: string, values: Record<string, string | number>, attributes?: Record<string, string>) =>
  vector("set", "Number", "D", "N", state, values, attributes);
const def = (state: string, values: Record<string, string | number>) =>
  vector("def", "Number", "D", "N", state, values);
const seconds = (from: number, to: number) => (to - from) / 1000;

test("a plain change: sent whole, Busy until answered, ended by Ok (pitfall 36: always all elements)", async () => {
  await testDevice("Idle", async ({ clock, far, device }) => {
    far.on(/<newNumberVector/, () => clock.setTimer(2, () => far.say(set("Ok", { A: 5, B: 2 }))));
    const changing = device.change("N", { A: 5 }, within, signal);
    expect(device.property("N")).toMatchObject({ state: "Busy", awaitingAnswer: true });
    const ended = await changing;
    expect(ended).toMatchObject({ state: "Ok", awaitingAnswer: false });
    expect(ended.elements.get("A")?.value).toBe(5);
    expect(far.heard.at(-1)).toBe(
      '<newNumberVector device="D" name="N">\n  <oneNumber name="A">5</oneNumber>\n  <oneNumber name="B">2</oneNumber>\n</newNumberVector>\n',
    );
  });
});

describe("pitfall 4: no answer at all", () => {
  test("the property is asked for, and if nothing changed the command is refused", async () => {
    await testDevice("Ok", async ({ clock, far, device, startMs }) => {
      far.on(/<getProperties.* name="N"/, () => far.say(def("Ok", { A: 1, B: 2 })));
      await expect(device.change("N", { A: 5 }, within, signal)).rejects.toThrow(
        /gave no answer, and A=1 B=2 stays/,
      );
      expect(seconds(startMs, clock.nowMs())).toBeCloseTo(3, 1);
      expect(device.property("N")?.state).toBe("Ok");
    });
  });

  test("a driver that obeys without a word is believed when it reads back", async () => {
    await testDevice("Ok", async ({ far, device }) => {
      far.on(/<getProperties.* name="N"/, () => far.say(def("Ok", { A: 5, B: 2 })));
      expect((await device.change("N", { A: 5 }, within, signal)).state).toBe("Ok");
    });
  });

  test("a blocked driver answers late and in order: the wait goes on (pitfall 34)", async () => {
    await testDevice("Ok", async ({ clock, far, device, startMs }) => {
      far.on(/<newNumberVector/, () =>
        clock.setTimer(20, () => far.say(set("Ok", { A: 5, B: 2 }) + def("Ok", { A: 5, B: 2 }))),
      );
      await device.change("N", { A: 5 }, { withinSeconds: 60, arrived: readsBack({ A: 5 }) }, signal);
      expect(seconds(startMs, clock.nowMs())).toBeCloseTo(20, 1);
    });
  });

  test("a hung driver ends with the deadline", async () => {
    await testDevice("Ok", async ({ clock, device, startMs }) => {
      await expect(device.change("N", { A: 5 }, within, signal)).rejects.toThrow(DeadlineError);
      expect(seconds(startMs, clock.nowMs())).toBeCloseTo(60, 1);
    });
  });
});

describe("pitfall 5: Alert followed at once by Ok with the old value", () => {
  test("is a failure with the device's words, beside it", async () => {
    await testDevice("Ok", async ({ far, device }) => {
      far.on(
        /<newNumberVector/,
        set("Alert", { A: 1, B: 2 }, { message: "Invalid range" }) +
          set("Alert", { A: 1, B: 2 }) +
          set("Ok", { A: 1, B: 2 }),
      );
      const failed = device.change("N", { A: 5 }, within, signal);
      await expect(failed).rejects.toThrow(RefusedError);
      await expect(failed).rejects.toThrow("Invalid range");
    });
  });

  test("words that come a moment after the Alert are told too", async () => {
    await testDevice("Ok", async ({ clock, far, device }) => {
      far.on(/<newNumberVector/, () => {
        far.say(set("Alert", { A: 1, B: 2 }));
        clock.setTimer(0.05, () => far.say('<message device="D" message="[ERROR] too far"/>'));
      });
      await expect(device.change("N", { A: 5 }, within, signal)).rejects.toThrow(/too far|no reason/);
    });
  });

  test("an error message and then Ok is a failure", async () => {
    await testDevice("Ok", async ({ far, device }) => {
      far.on(
        /<newNumberVector/,
        `<message device="D" message="[ERROR] not now"/>${set("Ok", { A: 1, B: 2 })}`,
      );
      await expect(device.change("N", { A: 5 }, within, signal)).rejects.toThrow("not now");
    });
  });

  test("an error message alone is a failure, soon", async () => {
    await testDevice("Ok", async ({ clock, far, device, startMs }) => {
      far.on(/<newNumberVector/, '<message device="D" message="[ERROR] invalid number"/>');
      await expect(device.change("N", { A: 5 }, within, signal)).rejects.toThrow("invalid number");
      expect(seconds(startMs, clock.nowMs())).toBeLessThan(1);
    });
  });

  test("unless the driver is known to grumble", async () => {
    await testDevice("Idle", async ({ far, device }) => {
      far.on(
        /<newNumberVector/,
        `<message device="D" message="[ERROR] got no stars"/>${set("Busy", { A: 5, B: 2 })}${set("Ok", { A: 0, B: 2 })}`,
      );
      await device.change("N", { A: 5 }, { ...within, errorMessages: "ignore" }, signal);
    });
  });

  test("an error message of another device is nothing to us", async () => {
    await testDevice("Idle", async ({ far, device }) => {
      far.on(/<newNumberVector/, `<message device="E" message="[ERROR] boo"/>${set("Ok", { A: 5, B: 2 })}`);
      await device.change("N", { A: 5 }, within, signal);
    });
  });
});

describe("pitfall 6: Ok with an illegal value: checked before anything is sent", () => {
  test.each([
    [{ A: 101 }, OutOfLimitsError, /N.A 101 is outside 0 to 100/],
    [{ A: -1 }, OutOfLimitsError, /0 to 100/],
    [{ A: Number.NaN }, OutOfLimitsError, /finite/],
    [{ A: "5" }, OutOfLimitsError, /finite numbers/],
    [{ C: 5 }, MissingAbilityError, /no element C, only A, B/],
    [{ a: 5 }, MissingAbilityError, /no element a/],
  ])("number %j", async (values, error, words) => {
    await testDevice("Ok", async ({ far, device }) => {
      const attempt = device.change("N", values as Record<string, number>, within, signal);
      await expect(attempt).rejects.toThrow(error);
      await expect(attempt).rejects.toThrow(words);
      expect(far.heardCount(/<new/)).toBe(0);
      expect(device.property("N")?.state).toBe("Ok");
    });
  });

  test("read back where asked", async () => {
    await testDevice("Idle", async ({ far, device }) => {
      far.on(/<newNumberVector/, set("Ok", { A: 7, B: 2 }));
      far.on(/<getProperties.* name="N"/, () => far.say(def("Ok", { A: 7, B: 2 })));
      await expect(
        device.change("N", { A: 5 }, { ...within, arrived: readsBack({ A: 5 }) }, signal),
      ).rejects.toThrow(ReadbackError);
    });
  });
});

describe("pitfall 7: the first answer still has the old state", () => {
  test("Idle again, then Ok", async () => {
    await testDevice("Idle", async ({ clock, far, device }) => {
      far.on(/<newNumberVector/, () => {
        far.say(set("Idle", { A: 1, B: 2 }));
        clock.setTimer(0.2, () => far.say(set("Ok", { A: 5, B: 2 })));
      });
      expect((await device.change("N", { A: 5 }, within, signal)).elements.get("A")?.value).toBe(5);
    });
  });

  test("Ok again with the old value, then Busy, then Ok", async () => {
    await testDevice("Ok", async ({ clock, far, device, startMs }) => {
      far.on(/<newNumberVector/, () => {
        far.say(set("Ok", { A: 1, B: 2 }));
        clock.setTimer(0.3, () => far.say(set("Busy", { A: 1, B: 2 })));
        clock.setTimer(9, () => far.say(set("Ok", { A: 5, B: 2 })));
      });
      expect((await device.change("N", { A: 5 }, within, signal)).elements.get("A")?.value).toBe(5);
      expect(seconds(startMs, clock.nowMs())).toBeCloseTo(9, 1);
    });
  });

  test("Alert from before, then Ok", async () => {
    await testDevice("Alert", async ({ clock, far, device }) => {
      far.on(/<newNumberVector/, () => {
        far.say(set("Alert", { A: 1, B: 2 }));
        clock.setTimer(0.2, () => far.say(set("Ok", { A: 5, B: 2 })));
      });
      await device.change("N", { A: 5 }, within, signal);
    });
  });
});

test("pitfalls 8, 9: Busy for ever, also with value 0, is no end: the deadline is", async () => {
  await testDevice("Idle", async ({ far, device }) => {
    far.on(/<newNumberVector/, set("Busy", { A: 5, B: 2 }) + set("Busy", { A: 0, B: 2 }));
    await expect(device.change("N", { A: 5 }, { withinSeconds: 8 }, signal)).rejects.toThrow(
      "D: N to A=5 did not end within 8.0 s",
    );
  });
});

test("pitfall 25: Idle in answer is no success; asked again it decides", async () => {
  await testDevice("Ok", async ({ far, device }) => {
    far.on(
      /<newNumberVector/,
      `<message device="D" message="[WARNING] parked"/>${set("Idle", { A: 1, B: 2 })}`,
    );
    far.on(/<getProperties.* name="N"/, () => far.say(def("Idle", { A: 1, B: 2 })));
    await expect(device.change("N", { A: 5 }, within, signal)).rejects.toThrow(
      /ended Idle; its words: \[WARNING\] parked/,
    );
  });
});

test("a pulse that ends Idle is well where Idle is final", async () => {
  await testDevice("Idle", async ({ clock, far, device }) => {
    far.on(/<newNumberVector/, () => {
      far.say(set("Busy", { A: 5, B: 0 }));
      clock.setTimer(1, () => far.say(set("Idle", { A: 0, B: 0 })));
    });
    await device.change("N", { A: 5 }, { ...within, finalStates: ["Idle", "Ok"] }, signal);
  });
});

test("pitfall 37: chatter in the old state doesn't put off the verdict", async () => {
  await testDevice("Idle", async ({ clock, far, device, startMs }) => {
    let talking = true;
    const chatter = () => {
      if (!talking) return;
      far.say(set("Idle", { A: 1, B: 2 }));
      clock.setTimer(0.25, chatter);
    };
    chatter();
    far.on(/<getProperties.* name="N"/, () => far.say(def("Idle", { A: 1, B: 2 })));
    await expect(device.change("N", { A: 5 }, within, signal)).rejects.toThrow(RefusedError);
    expect(seconds(startMs, clock.nowMs())).toBeLessThan(2);
    talking = false;
    await clock.sleep(1);
  });
});

describe("ways out of a change", () => {
  test("pitfall 17: the driver dies: at once, with DeviceLostError", async () => {
    await testDevice("Idle", async ({ clock, far, device, startMs }) => {
      far.on(/<newNumberVector/, set("Busy", { A: 5, B: 2 }));
      clock.setTimer(4, () => far.say('<delProperty device="D"/>'));
      await expect(device.change("N", { A: 5 }, within, signal)).rejects.toThrow(DeviceLostError);
      expect(seconds(startMs, clock.nowMs())).toBeCloseTo(4, 1);
      expect(device.property("N")).toBeUndefined();
      expect(device.lostCount).toBe(1);
    });
  });

  test("the link is cut: at once", async () => {
    await testDevice("Idle", async ({ clock, far, device }) => {
      clock.setTimer(4, () => void far.hangUp());
      await expect(device.change("N", { A: 5 }, within, signal)).rejects.toThrow(
        /the server closed the link/,
      );
    });
  });

  test("the caller's abort: at once, with its reason", async () => {
    await testDevice("Idle", async ({ clock, device }) => {
      const controller = new AbortController();
      clock.setTimer(1, () => controller.abort(new Error("enough")));
      await expect(device.change("N", { A: 5 }, within, controller.signal)).rejects.toThrow("enough");
    });
  });

  test("pitfall 18: the property is withdrawn and defined anew meanwhile: the new one is judged", async () => {
    await testDevice("Idle", async ({ far, device }) => {
      far.on(/<newNumberVector/, `<delProperty device="D" name="N"/>${def("Ok", { A: 5, B: 2 })}`);
      expect((await device.change("N", { A: 5 }, within, signal)).elements.get("A")?.value).toBe(5);
    });
  });

  test("withdrawn for good", async () => {
    await testDevice("Idle", async ({ far, device }) => {
      far.on(/<newNumberVector/, '<delProperty device="D" name="N"/>');
      await expect(device.change("N", { A: 5 }, within, signal)).rejects.toThrow("withdrew");
      await expect(device.change("N", { A: 5 }, within, signal)).rejects.toThrow(MissingAbilityError);
    });
  });
});
