import { afterEach, beforeEach, expect, test } from "vitest";
import { describeRun } from "../../agent/run/record/describe-run.ts";
import { FakeRun, usualWorks } from "../agent/run/fake-run.ts";

// A rig whose dome was found open (decision 0012).
let run: FakeRun;
beforeEach(() => {
  run = new FakeRun();
});
afterEach(() => run[Symbol.dispose]());

test("rain while shutter and cover were found open: both are left closed, which is told and is no failure to restore", async () => {
  run.rig.truth.get("cover")!.set("position", "open");
  const report = await run.run({
    ...usualWorks,
    flat: async ({ clock }, signal) => {
      run.rig.weather = "unsafe";
      await clock.sleep(100, signal);
      return undefined;
    },
  });
  expect(report).toMatchObject({ ended: "unsafe", exitCode: 4 });
  expect([run.rig.get("dome", "shutter"), run.rig.get("cover", "position")]).toEqual(["closed", "closed"]);
  expect(describeRun(report).state.match(/left closed because of the weather/g)).toHaveLength(2);
  expect(run.ledger.unfinishedRuns("garden")).toEqual([]);
});

test("rain that has stopped by the end of the retreat still leaves the shutter closed", async () => {
  const report = await run.run({
    ...usualWorks,
    flat: async ({ clock }, signal) => {
      run.rig.weather = "unsafe";
      clock.setTimer(15, () => {
        run.rig.weather = "safe";
      });
      await clock.sleep(100, signal);
      return undefined;
    },
  });
  expect(report.exitCode).toBe(4);
  expect(run.rig.get("dome", "shutter")).toBe("closed");
});

test("rain that begins at the end of a good run: shutter closed, flat good, exit code 0", async () => {
  const report = await run.run({
    ...usualWorks,
    images: async () => {
      run.rig.weather = "unsafe";
      return undefined;
    },
  });
  expect(report).toMatchObject({ ended: "completed", verdict: "good", exitCode: 0 });
  expect(run.rig.get("dome", "shutter")).toBe("closed");
  expect(describeRun(report).state).toContain("left closed because of the weather");
});

test("a weather station that is lost in mid-run: the shutter found open is closed", async () => {
  const report = await run.run({
    ...usualWorks,
    flat: async ({ clock }, signal) => {
      run.rig.silent.add("weather");
      await clock.sleep(600, signal);
      return undefined;
    },
  });
  expect(report.ended).toBe("unsafe");
  expect(run.rig.get("dome", "shutter")).toBe("closed");
  expect(report.notAsFound).toMatchObject([
    { role: "dome", key: "shutter", state: "keptSafe" },
    { role: "weather", key: "connected", state: "different" },
  ]);
});

test("a station that falls silent as a run is stopped gets its grace, then the shutter is closed", async () => {
  const report = await run.run({
    ...usualWorks,
    flat: async ({ clock }, signal) => {
      run.rig.silent.add("weather");
      run.stop.abort(new Error("Ctrl-C"));
      await clock.sleep(600, signal);
      return undefined;
    },
  });
  expect(report.ended).toBe("stopped");
  expect(run.rig.get("dome", "shutter")).toBe("closed");
});

test("bad weather at the start with the shutter open: refused, and the shutter that nobody watches is named", async () => {
  run.rig.weather = "unsafe";
  const report = await run.run(usualWorks);
  expect(describeRun(report).whatToDo).toContain("shutter is open");
});
