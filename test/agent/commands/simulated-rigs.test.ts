import { mkdtempSync, readdirSync, readFileSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { afterAll, expect, test } from "vitest";
import type { CommandHost } from "../../../agent/commands/outcome.ts";
import { registerRehearse } from "../../../agent/commands/rehearse.ts";
import { simulate } from "../../../agent/commands/simulate.ts";
import { FitsFile } from "../../../drivers/formats/fits-file.ts";
import { systemClock } from "../../../drivers/kit/clock.ts";
import { readScene } from "../../../sim-devices/scene/spec/read-scene.ts";
import { scaleScene } from "../../../sim-devices/scene/spec/scale-scene.ts";
import { smallScene } from "../../stage/scenes.ts";
import { evenfield } from "./command-host.ts";

const plans = join(import.meta.dirname, "../../../plans");
const folder = mkdtempSync(join(tmpdir(), "evenfield-simulated-"));
afterAll(() => rmSync(folder, { recursive: true, force: true }));
const file = (name: string, text: string) => {
  const path = join(folder, name);
  writeFileSync(path, text);
  return path;
};

test("simulate --now: the devices go by this machine's clock, and it is said where the Sun stands", async () => {
  let told = "";
  const host: CommandHost = {
    clock: { ...systemClock, nowMs: () => Date.UTC(2026, 11, 21, 0, 0, 0) },
    live: false,
    stdout: () => {},
    stderr: (text) => {
      told += text;
    },
    setExitCode: () => {},
  };
  const scene = file("scene.yaml", JSON.stringify(smallScene));
  await simulate({ scene, indi: 0, speed: 1, now: true }, host, AbortSignal.abort());
  expect(told).toMatch(/it is 2026-12-21T00:00:00\.000Z there, the Sun stands \d+° below the horizon/);
});

test("simulate: INDI and Alpaca clients find the same rig, and its account is told at the end", async () => {
  let told = "";
  const { promise: listening, resolve } = Promise.withResolvers<void>();
  const host: CommandHost = {
    clock: systemClock,
    live: false,
    stdout: () => {},
    stderr: (text) => {
      told += text;
      resolve();
    },
    setExitCode: () => {},
  };
  const stop = new AbortController();
  const scene = file("scene.yaml", JSON.stringify(smallScene));
  const ending = simulate({ scene, indi: 0, alpaca: 0, speed: 1 }, host, stop.signal);
  await listening;
  const port = /Alpaca clients on port (\d+)/.exec(told)?.[1];
  const camera = `http://127.0.0.1:${port}/api/v1/camera/0`;
  expect(await (await fetch(`${camera}/name`)).json()).toMatchObject({ Value: "Scene Camera" });
  const form = { method: "PUT", headers: { "content-type": "application/x-www-form-urlencoded" } };
  await fetch(`${camera}/connected`, { ...form, body: "Connected=true" });
  await fetch(`${camera}/gain`, { ...form, body: "Gain=55" });
  stop.abort();
  const { result } = await ending;
  expect(result).toMatchObject({ alpacaPort: Number(port), account: { camera: { gain: 55 } } });
  await expect(fetch(`${camera}/name`)).rejects.toThrow();
});

test.each(["flat-by-drift.yaml", "flat-by-defocus.yaml"])(
  "%s on the rig and scene that it names, on fewer pixels: the flat is good",
  async (name) => {
    const plan = join(plans, name);
    const named = /^# To rehearse it: --rig plans\/(\S+) --scene plans\/(\S+)$/m.exec(
      readFileSync(plan, "utf8"),
    )!;
    const scene = file(
      named[2]!.replace("/", "-"),
      JSON.stringify(scaleScene(readScene(join(plans, named[2]!)), 400)),
    );
    const host = await evenfield(registerRehearse, [
      ...["rehearse", plan, "--rig", join(plans, named[1]!), "--scene", scene],
      ...["--runs", join(folder, "runs"), "--json"],
    ]);
    expect(host.exitCode).toBe(0);
    expect(host.json).toMatchObject({ ended: "completed", verdict: "good", truth: { differences: [] } });
    const { rmsError, rmsExpected } = host.json.truth.flat;
    expect(rmsError / rmsExpected).toBeLessThan(1.2);
  },
);

test("rehearse with the demo's rig on Alpaca: the flat is good, and the rig as it was by the world's own account", async () => {
  const host = await evenfield(registerRehearse, [
    "rehearse",
    join(plans, "first-flat.yaml"),
    "--rig",
    join(plans, "demo-rig-alpaca.yaml"),
    "--scene",
    file("small.yaml", JSON.stringify(smallScene)),
    "--runs",
    join(folder, "alpaca-runs"),
    "--json",
  ]);
  expect(host.exitCode).toBe(0);
  expect(host.json).toMatchObject({ ended: "completed", verdict: "good", truth: { differences: [] } });
  const files = readdirSync(join(folder, "alpaca-runs"), { recursive: true, encoding: "utf8" }).filter(
    (name) => name.endsWith(".fits"),
  );
  expect(files.length).toBeGreaterThan(1);
  for (const name of files) {
    using fits = FitsFile.open(join(folder, "alpaca-runs", name));
    const notes = fits.image().header.texts("COMMENT").join("");
    expect(notes, name).toMatch(/Rehearsal on a simulated rig, seed \d+: no telescope was there/);
  }
});
