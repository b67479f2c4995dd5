import { expect, test } from "vitest";
import type { AlpacaFocuser } from "../../../drivers/alpaca/roles/focuser.ts";
import {
  MissingAbilityError,
  OutOfLimitsError,
  ReadbackError,
  RefusedError,
} from "../../../drivers/kit/errors.ts";
import type { Cover } from "../../../drivers/roles/cover.ts";
import type { Device } from "../../../drivers/roles/device.ts";
import type { Dome } from "../../../drivers/roles/dome.ts";
import type { Rotator } from "../../../drivers/roles/rotator.ts";
import type { Wheel } from "../../../drivers/roles/wheel.ts";
import { onAlpaca } from "./alpaca-bench.ts";
import { addCover, addDome, addFocuser, addRotator, addSwitch, addWheel } from "./scripted-movers.ts";

const signal = new AbortController().signal;

async function putBack(device: Device, change: () => Promise<void>): Promise<void> {
  const before = await device.readSettings(signal);
  const changed = async () => {
    const now = await device.readSettings(signal);
    return before.filter((one) => {
      const found = now.find(({ key }) => key === one.key);
      return !found || !device.sameSetting(one, found);
    });
  };
  await change();
  expect(await changed()).not.toEqual([]);
  for (const setting of before) await device.restoreSetting(setting, signal);
  expect(await changed()).toEqual([]);
}

const coverBench = (
  options: Parameters<typeof addCover>[3],
  body: (cover: Cover, truth: ReturnType<typeof addCover>) => Promise<void>,
) => {
  let truth: ReturnType<typeof addCover> | undefined;
  return onAlpaca(
    (far, clock) => {
      truth = addCover(far, clock, "Flap", options);
    },
    async (bench) => body((await bench.open("cover", { device: "Flap" })) as unknown as Cover, truth!),
  );
};

test("cover: opens, closes, says so, does nothing twice, and is put back", () =>
  coverBench({}, async (cover, truth) => {
    await cover.ensureClosed(signal);
    expect(truth.commands).toEqual([]);
    await putBack(cover, async () => {
      await cover.ensureOpen(signal);
      expect(await cover.state(signal)).toBe("open");
    });
    expect(truth.commands).toEqual(["open", "close"]);
  }));

test("cover: unknown after power-up is commanded, not waited for", () =>
  coverBench({ status: 4 }, async (cover, truth) => {
    expect(await cover.state(signal)).toBe("unknown");
    await cover.ensureClosed(signal);
    expect(truth.commands).toEqual(["close"]);
  }));

test("cover: one that stops half-way is sent once more; an error is told; one that never gets there is told", async () => {
  await coverBench({}, async (cover, truth) => {
    truth.endsIn = 4;
    await cover.ensureOpen(signal);
    expect(truth.commands).toEqual(["open", "open"]);
  });
  await coverBench({}, async (cover, truth) => {
    truth.endsIn = 5;
    await expect(cover.ensureOpen(signal)).rejects.toBeInstanceOf(RefusedError);
  });
});

test("cover: the built-in light goes out before it opens, and comes back with the settings", () =>
  coverBench({ light: true }, async (cover, truth) => {
    truth.light = 60;
    await putBack(cover, () => cover.ensureOpen(signal));
    expect(truth.commands).toEqual(["light off", "open", "close"]);
    expect(truth.light).toBe(60);
  }));

test("a light without a cover is no cover", () =>
  onAlpaca(
    (far, clock) => void addCover(far, clock, "Lamp", { status: 0 }),
    (bench) => expect(bench.open("cover", { device: "Lamp" })).rejects.toBeInstanceOf(MissingAbilityError),
  ));

const switchBench = (
  script: Parameters<typeof addSwitch>[3],
  entry: { switch: string | number; closedValue?: number; travelSecondsMax?: number },
  body: (diffuser: Cover, truth: ReturnType<typeof addSwitch>, secondsNow: () => number) => Promise<void>,
) => {
  let truth: ReturnType<typeof addSwitch> | undefined;
  return onAlpaca(
    (far, clock) => {
      truth = addSwitch(far, clock, "Relays", script);
    },
    async (bench) => {
      const diffuser = await bench.open("diffuser", { device: "Relays", ...entry });
      await body(diffuser as unknown as Cover, truth!, bench.secondsNow);
    },
  );
};

test("diffuser on a switch: by name, closed at the maximum, its end told by the device", () =>
  switchBench({ async: true }, { switch: "Diffuser" }, async (diffuser, truth, secondsNow) => {
    expect(await diffuser.state(signal)).toBe("open");
    await putBack(diffuser, async () => {
      await diffuser.ensureClosed(signal);
      expect(await diffuser.state(signal)).toBe("closed");
      expect(secondsNow()).toBeLessThan(4);
    });
    expect(truth.commands).toEqual(["setasyncvalue 1 180", "setasyncvalue 1 0"]);
  }));

test("diffuser on a switch: by number, closed at the other end, given its time where the device tells no end", () =>
  switchBench({}, { switch: 1, closedValue: 0, travelSecondsMax: 5 }, async (diffuser, truth, secondsNow) => {
    expect(await diffuser.state(signal)).toBe("closed");
    const opening = diffuser.ensureOpen(signal);
    await Promise.resolve();
    await opening;
    expect(secondsNow()).toBeGreaterThanOrEqual(5);
    expect(await diffuser.state(signal)).toBe("open");
    expect(truth.commands).toEqual(["setswitchvalue 1 180"]);
  }));

test.each([
  ["a switch that is not there", { switch: "Flap" }, /there are: 0 Fan, 1 Diffuser, 2 Heater/],
  ["a switch that can only be read", { switch: "Fan" }, /can only be read/],
  ["a value in the middle", { switch: "Diffuser", closedValue: 90 }, /must be one of the two/],
])("diffuser on a switch: %s is refused with what there is", (_, entry, message) =>
  onAlpaca(
    (far, clock) => void addSwitch(far, clock, "Relays"),
    (bench) => expect(bench.open("diffuser", { device: "Relays", ...entry })).rejects.toThrow(message),
  ),
);

const focuserBench = (
  options: Parameters<typeof addFocuser>[3],
  body: (focuser: AlpacaFocuser, truth: ReturnType<typeof addFocuser>) => Promise<void>,
) => {
  let truth: ReturnType<typeof addFocuser> | undefined;
  return onAlpaca(
    (far, clock) => {
      truth = addFocuser(far, clock, "Knob", options);
    },
    async (bench) => body((await bench.open("focuser", { device: "Knob" })) as AlpacaFocuser, truth!),
  );
};

test("focuser: moves exactly, without its temperature compensation, and everything is put back", () =>
  focuserBench({}, async (focuser, truth) => {
    await putBack(focuser, async () => {
      await focuser.moveTo(6234, signal);
      expect(await focuser.positionSteps(signal)).toBe(6234);
      expect(truth.tempComp()).toBe(false);
    });
    expect(truth.tempComp()).toBe(true);
    for (const wrong of [-1, 20_001, Number.NaN])
      await expect(focuser.moveTo(wrong, signal)).rejects.toBeInstanceOf(OutOfLimitsError);
    expect(truth.moves).toEqual([6234, 5000]);
  }));

test("focuser: further than its largest step it goes in several", () =>
  focuserBench({ incrementMax: 800 }, async (focuser, truth) => {
    await focuser.moveTo(7000, signal);
    expect(truth.moves).toEqual([5800, 6600, 7000]);
  }));

test.each([true, false])(
  "focuser: an abort stops it, or waits for it where it cannot halt (halt: %s)",
  async (canHalt) => {
    let truth: ReturnType<typeof addFocuser> | undefined;
    await onAlpaca(
      (far, clock) => {
        truth = addFocuser(far, clock, "Knob", { canHalt });
      },
      async (bench) => {
        const focuser = (await bench.open("focuser", { device: "Knob" })) as AlpacaFocuser;
        const stop = new AbortController();
        bench.clock.setTimer(1, () => stop.abort(new Error("stop")));
        await expect(focuser.moveTo(9000, stop.signal)).rejects.toThrow("stop");
        expect(truth!.travel.moving).toBe(false);
        expect((await focuser.positionSteps(signal)) === 9000).toBe(!canHalt);
      },
    );
  },
);

test("wheel: slots count from 1, nameless ones have their number, and it is put back", () => {
  let truth: ReturnType<typeof addWheel> | undefined;
  return onAlpaca(
    (far, clock) => {
      truth = addWheel(far, clock, "Drum");
    },
    async (bench) => {
      const wheel = (await bench.open("wheel", { device: "Drum" })) as unknown as Wheel;
      expect(wheel.slotNames).toEqual(["clear", "2", "dark"]);
      await putBack(wheel, async () => {
        await wheel.moveTo(3, signal);
        expect(truth!.value).toBe(2);
        expect(await wheel.slot(signal)).toBe(3);
      });
      for (const wrong of [0, 4, 1.5])
        await expect(wheel.moveTo(wrong, signal)).rejects.toBeInstanceOf(OutOfLimitsError);
    },
  );
});

test("rotator: turns to the sky angle, brings any angle into one turn, and is put back", () => {
  let truth: ReturnType<typeof addRotator> | undefined;
  return onAlpaca(
    (far, clock) => {
      truth = addRotator(far, clock, "Ring");
    },
    async (bench) => {
      const rotator = (await bench.open("rotator", { device: "Ring" })) as unknown as Rotator;
      await putBack(rotator, async () => {
        await rotator.moveTo(372.3, signal);
        expect(await rotator.angleDegrees(signal)).toBeCloseTo(12.3, 4);
        await rotator.moveTo(-20, signal);
        expect(truth!.value).toBe(340);
      });
      expect(truth!.value).toBeCloseTo(10, 5);
    },
  );
});

test.each([
  ["open country", {}],
  ["following the mount", { slaved: true }],
  ["parked", { parked: true }],
] as const)("dome, found %s: opens, turns, and is put back", (_, options) => {
  let truth: ReturnType<typeof addDome> | undefined;
  return onAlpaca(
    (far, clock) => {
      truth = addDome(far, clock, "Shed", options);
    },
    async (bench) => {
      const dome = (await bench.open("dome", { device: "Shed" })) as unknown as Dome;
      await putBack(dome, async () => {
        await dome.ensureUnparked(signal);
        await dome.ensureShutterOpen(signal);
        await dome.turnTo(33, signal);
        expect(await dome.state(signal)).toEqual({
          shutter: "open",
          azimuthDegrees: 33,
          parked: false,
          moving: false,
        });
      });
      expect(truth!.parked).toBe("parked" in options);
      expect(truth!.shutter.value).toBe(1);
      expect((await dome.readSettings(signal)).find(({ key }) => key === "slaved")?.value).toBe(
        "slaved" in options,
      );
    },
  );
});

test("dome: a shutter that reports an error is in no known place", () => {
  let truth: ReturnType<typeof addDome> | undefined;
  return onAlpaca(
    (far, clock) => {
      truth = addDome(far, clock, "Shed");
    },
    async (bench) => {
      const dome = (await bench.open("dome", { device: "Shed" })) as unknown as Dome;
      truth!.error = true;
      expect((await dome.state(signal)).shutter).toBe("unknown");
      await expect(dome.ensureShutterClosed(signal)).rejects.toBeInstanceOf(ReadbackError);
    },
  );
});
