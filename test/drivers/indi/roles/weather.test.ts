import { expect, test } from "vitest";
import { IndiWeather } from "../../../../drivers/indi/roles/weather.ts";
import { type Bench, connectionText, onBench } from "../role-bench.ts";
import { recordedSteps, recording, type ScriptedServer } from "../scripted-server.ts";

const name = "Weather Simulator";

const station =
  (version: "1.9.9" | "2.2.4", without: readonly string[] = []) =>
  (server: ScriptedServer) => {
    server.load(connectionText(name));
    server.load(recording(`other-devices-connect-${version}.xml`), { only: [name], without });
    server.on("WEATHER_REFRESH", () => {
      server.set(name, "WEATHER_REFRESH", "Ok", { REFRESH: "Off" });
      server.after(0.2, () => server.set(name, "WEATHER_PARAMETERS", "Ok"));
    });
  };

const openStation = ({ context, signal }: Bench) => new IndiWeather(context(name)).open(signal);

for (const version of ["1.9.9", "2.2.4"] as const) {
  test(`recorded day of ${version}: ok, warning, danger, danger overridden by hand, ok`, () =>
    onBench(station(version), async (bench) => {
      const { server, signal } = bench;
      const weather = await openStation(bench);
      const safetyAt: [number, string][] = [];
      expect((await weather.state(signal)).safety).toBe("safe");
      const startSeconds = bench.secondsNow();
      for (const { fromClient, atSeconds, wires } of recordedSteps(
        recording(`weather-flow-${version}.xml`),
      )) {
        if (fromClient) continue;
        await bench.clock.sleep(Math.max(0, startSeconds + atSeconds - bench.secondsNow()));
        for (const wire of wires) server.replay(wire);
        if (wires.some((wire) => wire.tag.startsWith("set"))) {
          safetyAt.push([atSeconds, (await weather.state(signal)).safety]);
        }
      }
      const course = safetyAt.map(([, safety]) => safety).filter((safety, i, all) => safety !== all[i - 1]);
      // Overridden, the station's own state says Ok while its wind light says Alert: unsafe stays unsafe.
      expect(course).toEqual(["safe", "warning", "unsafe", "safe"]);
      const dangerSeconds = safetyAt.filter(([, safety]) => safety === "unsafe").map(([at]) => at);
      expect(Math.max(...dangerSeconds) - Math.min(...dangerSeconds)).toBeGreaterThan(2);
    }));
}

test("an override is never safe, even over good weather", () =>
  onBench(station("1.9.9"), async (bench) => {
    bench.server.set(name, "WEATHER_OVERRIDE", "Busy", { OVERRIDE: "On" });
    const weather = await openStation(bench);
    expect(await weather.state(bench.signal)).toMatchObject({
      safety: "unknown",
      reasons: ["safety overridden by hand (OVERRIDE)"],
    });
  }));

test("NaN compares as Ok for the station, not for us", () =>
  onBench(station("1.9.9"), async (bench) => {
    bench.server.remember(name, "WEATHER_PARAMETERS", { WEATHER_WIND_SPEED: "nan" });
    const weather = await openStation(bench);
    const state = await weather.state(bench.signal);
    expect(state.safety).toBe("unknown");
    expect(state.readings).not.toHaveProperty("WEATHER_WIND_SPEED");
    expect(state.readings.WEATHER_TEMPERATURE).toBe(15);
  }));

test("a light that is Idle is unknown; a gust beyond its limits, which has no light, is a warning", () =>
  onBench(station("1.9.9"), async (bench) => {
    const weather = await openStation(bench);
    bench.server.remember(name, "WEATHER_PARAMETERS", { WEATHER_WIND_GUST: "25" });
    expect((await weather.state(bench.signal)).safety).toBe("warning");
    bench.server.set(name, "WEATHER_STATUS", "Idle", { WEATHER_RAIN_HOUR: "Idle" });
    expect((await weather.state(bench.signal)).safety).toBe("unknown");
  }));

test("a raw value outside the limits is unsafe before the station's light says so", () =>
  onBench(station("1.9.9"), async (bench) => {
    bench.server.remember(name, "WEATHER_PARAMETERS", { WEATHER_WIND_SPEED: "60" });
    const weather = await openStation(bench);
    expect((await weather.state(bench.signal)).safety).toBe("unsafe");
  }));

test("a station that answers but reports nothing new goes stale by its own period", () =>
  onBench(station("1.9.9"), async (bench) => {
    const weather = await openStation(bench);
    bench.server.ignore("WEATHER_REFRESH");
    expect((await weather.state(bench.signal)).safety).toBe("safe"); // its first report is young
    await bench.clock.sleep(40);
    expect((await weather.state(bench.signal)).safety).toBe("safe");
    await bench.clock.sleep(20); // a report is overdue
    expect(await weather.state(bench.signal)).toMatchObject({ safety: "unknown" });
    bench.server.set(name, "WEATHER_PARAMETERS", "Ok");
    expect((await weather.state(bench.signal)).safety).toBe("safe");
  }));

test("a station that has answered requests and answers no more is silent, however young its last report", () =>
  onBench(station("1.9.9"), async (bench) => {
    const weather = await openStation(bench);
    expect((await weather.state(bench.signal)).safety).toBe("safe");
    bench.server.ignore("WEATHER_REFRESH");
    // Its driver still says what it was told last, which is no report.
    bench.clock.setTimer(3, () => void weather.isAlive(bench.signal));
    expect(await weather.state(bench.signal)).toMatchObject({
      safety: "unknown",
      reasons: ["no fresh report from the station"],
    });
  }));

test("a report ages by the time that has passed, not by a clock that is set back meanwhile", () =>
  onBench(station("1.9.9"), async (bench) => {
    const weather = await openStation(bench);
    bench.server.ignore("WEATHER_REFRESH");
    bench.computer.step(-7200);
    await bench.clock.sleep(200);
    expect(await weather.state(bench.signal)).toMatchObject({ safety: "unknown" });
  }));

test("a station that cannot read its source is unknown", () =>
  onBench(station("1.9.9"), async (bench) => {
    bench.server.on("WEATHER_REFRESH", () => bench.server.set(name, "WEATHER_PARAMETERS", "Alert"));
    const weather = await openStation(bench);
    expect((await weather.state(bench.signal)).safety).toBe("unknown");
  }));

test("2.2.4: of SAFETY_STATUS the vector's state counts", () =>
  onBench(station("2.2.4", ["WEATHER_STATUS"]), async (bench) => {
    const weather = await openStation(bench);
    bench.server.set(name, "SAFETY_STATUS", "Alert");
    expect((await weather.state(bench.signal)).safety).toBe("unsafe");
    bench.server.set(name, "SAFETY_STATUS", "Ok");
    expect((await weather.state(bench.signal)).safety).toBe("safe");
  }));

test("a driver that does not answer when asked for its lights by name is alive and judged all the same", () =>
  onBench(station("1.9.9"), async (bench) => {
    const weather = await openStation(bench);
    expect(await weather.isAlive(bench.signal)).toBe(true);
    bench.server.set(name, "WEATHER_STATUS", "Alert", { WEATHER_RAIN_HOUR: "Alert" });
    expect((await weather.state(bench.signal)).safety).toBe("unsafe");
  }));
