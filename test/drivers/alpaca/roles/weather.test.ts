import { expect, test } from "vitest";
import type { AlpacaEntry } from "../../../../drivers/alpaca/role-table.ts";
import { judgeWeather } from "../../../../drivers/alpaca/roles/weather-judgement.ts";
import type { Weather } from "../../../../drivers/roles/weather.ts";
import { type AlpacaBench, onAlpaca } from "../alpaca-bench.ts";
import { absent, constant, Fault, type ScriptedAlpaca } from "../scripted-alpaca.ts";

interface Sky {
  isSafe: boolean | "fault";
  rain: number;
  wind: number;
  ageSeconds: number;
}

function addStation(far: ScriptedAlpaca, sky: Sky, options: { connected?: boolean } = {}) {
  return far.add(
    "ObservingConditions",
    "Mast",
    {
      rainrate: { get: () => sky.rain },
      windspeed: { get: () => sky.wind },
      temperature: constant(12.5),
      humidity: {
        get: () => {
          throw new Fault(0x40b, "not yet");
        },
      },
      pressure: { get: absent },
      timesincelastupdate: { get: (query) => (query.get("SensorName") === "" ? sky.ageSeconds : -1) },
    },
    { version: 1, connected: options.connected ?? true },
  );
}

function addMonitor(far: ScriptedAlpaca, sky: Sky) {
  far.add("SafetyMonitor", "Guardian", {
    issafe: {
      get: () => {
        if (sky.isSafe === "fault") throw new Fault(0x500, "sensor gone");
        return sky.isSafe;
      },
    },
  });
}

async function underSky(
  sky: Partial<Sky>,
  entry: AlpacaEntry,
  body: (weather: Weather, sky: Sky, bench: AlpacaBench) => Promise<void>,
) {
  const whole: Sky = { isSafe: true, rain: 0, wind: 3, ageSeconds: 5, ...sky };
  await onAlpaca(
    (far) => {
      addMonitor(far, whole);
      addStation(far, whole);
    },
    async (bench) => body((await bench.open("weather", entry)) as unknown as Weather, whole, bench),
  );
}

const both = { device: "Guardian", conditions: "Mast" };

test("monitor and station together: safe, with what the station reads", () =>
  underSky({}, both, async (weather, _, { signal }) => {
    expect(await weather.state(signal)).toEqual({
      safety: "safe",
      reasons: [],
      readings: { rainrate: 0, windspeed: 3, temperature: 12.5 },
    });
    expect(await weather.readSettings(signal)).toEqual([{ key: "connected", value: true }]);
  }));

test.each([
  ["the monitor says no", { isSafe: false }, both, "unsafe"],
  ["the monitor fails", { isSafe: "fault" }, both, "unknown"],
  ["it rains on a monitor that says yes", { rain: 0.2 }, both, "unsafe"],
  ["wind above the usual limit", { wind: 13 }, both, "unsafe"],
  ["wind above a limit of the rig file", { wind: 6 }, { ...both, windMetresPerSecondMax: 5 }, "unsafe"],
  ["an old report beside a monitor", { ageSeconds: 4000 }, both, "warning"],
  ["an old report alone", { ageSeconds: 4000 }, { device: "Mast" }, "unknown"],
  ["no report yet", { ageSeconds: -1 }, { device: "Mast" }, "unknown"],
  ["a station alone in good weather", {}, { device: "observingconditions/0" }, "safe"],
  ["a monitor alone", {}, { device: "safetymonitor/0" }, "safe"],
] as const)("%s: %o", (_, sky, entry, safety) =>
  underSky(sky, entry, async (weather, __, { signal }) => {
    const state = await weather.state(signal);
    expect(state.safety).toBe(safety);
    expect(state.reasons.length > 0).toBe(safety !== "safe");
  }),
);

test("silence is unknown, not an error: the guard decides", () =>
  underSky({}, both, async (weather, _, bench) => {
    bench.far.intercept = () => "refuse";
    const state = await weather.state(bench.signal);
    expect(state.safety).toBe("unknown");
    expect(state.reasons).toEqual([
      "the safety monitor does not answer",
      "the weather station does not answer",
    ]);
    expect(await weather.isAlive(bench.signal)).toBe(false);
    bench.far.intercept = undefined;
    await bench.clock.sleep(6);
    expect((await weather.state(bench.signal)).safety).toBe("safe");
  }));

test("a station found disconnected is left so, and never disconnected to mend an error", async () => {
  const sky: Sky = { isSafe: true, rain: 0, wind: 3, ageSeconds: 5 };
  let connection: { connected: boolean } | undefined;
  await onAlpaca(
    (far) => {
      addMonitor(far, sky);
      connection = addStation(far, sky, { connected: false });
    },
    async (bench) => {
      await bench.open("weather", both);
      expect(connection!.connected).toBe(true);
    },
  );
  expect(connection!.connected).toBe(false);
});

test("neither rain nor wind measured and no monitor: nothing can be said", () => {
  const found = { isSafe: undefined, readings: { temperature: 5 }, conditions: "fresh" } as const;
  expect(judgeWeather(found, {}).safety).toBe("unknown");
  expect(judgeWeather({ ...found, readings: { windspeed: 2 } }, {}).safety).toBe("safe");
  expect(
    judgeWeather({ ...found, readings: { windspeed: 2, cloudcover: 90 } }, { cloudPercentMax: 50 }).safety,
  ).toBe("unsafe");
});
