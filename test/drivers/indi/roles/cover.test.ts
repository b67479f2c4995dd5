import { expect, test } from "vitest";
import { IndiCover } from "../../../../drivers/indi/roles/cover.ts";
import { RefusedError } from "../../../../drivers/kit/errors.ts";
import { type Bench, connectionText, onBench, switchText } from "../role-bench.ts";
import { recordedSteps, recording, type ScriptedServer } from "../scripted-server.ts";

const device = "Dust Cover Simulator";

/** A cover as the 2.2.4 simulator is: 5 s for one way, a refused command in mid-motion shows as if obeyed. */
function dustCover(server: ScriptedServer, options: { on?: "PARK" | "UNPARK"; state?: string } = {}): void {
  const on = options.on ?? "PARK";
  server.load(connectionText(device));
  server.load(
    switchText(
      device,
      "CAP_PARK",
      { PARK: on === "PARK", UNPARK: on === "UNPARK" },
      { state: options.state ?? "Ok" },
    ),
  );
  let moving = false;
  server.on("CAP_PARK", ({ values }) => {
    server.set(device, "CAP_PARK", "Busy", both(values.PARK === "On"));
    if (moving) return;
    moving = true;
    server.after(5, () => {
      moving = false;
      server.set(device, "CAP_PARK", "Ok"); // as recorded: it shows whatever was asked last
    });
  });
}

const both = (closed: boolean) => ({ PARK: closed ? "On" : "Off", UNPARK: closed ? "Off" : "On" });

const openCover = ({ context, signal }: Bench) =>
  new IndiCover(context(device), { role: "cover" }).open(signal);

test("a closed cover opens, and is moving on its way", () =>
  onBench(dustCover, async (bench) => {
    const cover = await openCover(bench);
    expect(await cover.state(bench.signal)).toBe("closed");
    const opening = cover.ensureOpen(bench.signal);
    await bench.clock.sleep(2);
    expect(await cover.state(bench.signal)).toBe("moving");
    await opening;
    expect(await cover.state(bench.signal)).toBe("open");
    expect(bench.server.commands).toHaveLength(1);
    await cover.ensureOpen(bench.signal);
    expect(bench.server.commands).toHaveLength(1);
  }));

test("the switch shows the wish: only state Ok counts, both off is unknown", () =>
  onBench(
    (server) => dustCover(server, { state: "Idle" }),
    async (bench) => {
      const cover = await openCover(bench);
      expect(await cover.state(bench.signal)).toBe("unknown");
      await cover.ensureClosed(bench.signal);
      expect(await cover.state(bench.signal)).toBe("closed");
      bench.server.set(device, "CAP_PARK", "Ok", { PARK: "Off", UNPARK: "Off" });
      expect(await cover.state(bench.signal)).toBe("unknown");
      bench.server.set(device, "CAP_PARK", "Alert", { PARK: "On" });
      expect(await cover.state(bench.signal)).toBe("unknown");
    },
  ));

test("a moving cover is never commanded: the end of the motion is waited for", () =>
  onBench(dustCover, async (bench) => {
    const cover = await openCover(bench);
    const opening = cover.ensureOpen(bench.signal);
    await bench.clock.sleep(1);
    const closing = cover.ensureClosed(bench.signal);
    await bench.clock.sleep(1);
    expect(bench.server.commands).toHaveLength(1);
    await Promise.all([opening, closing]);
    expect(await cover.state(bench.signal)).toBe("closed");
    expect(bench.secondsNow()).toBeGreaterThan(9.9);
  }));

test("recorded contrary command in mid-motion: Ok with the refused wish is not believed, and the cover is sent again", () =>
  onBench(
    (server) => {
      dustCover(server, { on: "UNPARK" });
    },
    async (bench) => {
      const { server } = bench;
      const cover = await openCover(bench);
      // The recording from the second command on: closing, the refused UNPARK, and "parked successfully" with UNPARK on.
      const steps = recordedSteps(recording("dust-cover-2.2.4.xml")).filter(({ atSeconds }) => atSeconds > 6);
      for (const { fromClient, atSeconds, wires } of steps.filter((step) => step.atSeconds < 12)) {
        if (fromClient) continue;
        server.after(atSeconds - 6.5, () => {
          for (const wire of wires) server.replay(wire);
        });
      }
      await bench.clock.sleep(6);
      expect(server.value(device, "CAP_PARK", "UNPARK")).toBe("On");
      expect(await cover.state(bench.signal)).toBe("unknown");
      await cover.ensureClosed(bench.signal);
      expect(await cover.state(bench.signal)).toBe("closed");
    },
  ));

test("a cover that ends elsewhere than it was sent is sent once more, then it is a failure", () =>
  onBench(
    (server) => {
      dustCover(server);
      server.on("CAP_PARK", () => server.after(1, () => server.set(device, "CAP_PARK", "Ok", both(true))));
    },
    async (bench) => {
      const cover = await openCover(bench);
      await expect(cover.ensureOpen(bench.signal)).rejects.toMatchObject({ device });
      expect(await cover.state(bench.signal)).toBe("closed");
    },
  ));

test("the built-in light goes off before the cover opens (recorded driver)", () =>
  onBench(
    (server) => {
      server.load(connectionText("Cover Light")).load(recording("cover-light-driver-simulation-1.9.9.xml"));
      server.set("Cover Light", "CAP_PARK", "Ok", both(true));
      server.set("Cover Light", "CONNECTION", "Ok", { CONNECT: "On", DISCONNECT: "Off" });
      server.set("Cover Light", "FLAT_LIGHT_CONTROL", "Ok", { FLAT_LIGHT_ON: "On", FLAT_LIGHT_OFF: "Off" });
      server.on("CAP_PARK", (command) => {
        server.set("Cover Light", "CAP_PARK", "Busy", command.values);
        server.after(2.5, () => server.set("Cover Light", "CAP_PARK", "Idle"));
        server.after(2.6, () => server.set("Cover Light", "CAP_PARK", "Ok"));
      });
    },
    async (bench) => {
      const cover = await new IndiCover(bench.context("Cover Light"), { role: "cover" }).open(bench.signal);
      const before = await cover.readSettings(bench.signal);
      expect(before).toEqual([
        { key: "position", value: "closed" },
        { key: "light", value: "FLAT_LIGHT_ON" },
        { key: "connected", value: true },
      ]);
      await cover.ensureOpen(bench.signal);
      expect(bench.server.commands.map(({ name }) => name)).toEqual(["FLAT_LIGHT_CONTROL", "CAP_PARK"]);
      for (const setting of before) await cover.restoreSetting(setting, bench.signal);
      expect(bench.server.commands.slice(2).map(({ name }) => name)).toEqual([
        "CAP_PARK",
        "FLAT_LIGHT_CONTROL",
      ]);
      expect(await cover.readSettings(bench.signal)).toEqual(before);
    },
  ));

test("a cover that refuses says so and is not taken as moved", () =>
  onBench(
    (server) => {
      dustCover(server);
      server.on("CAP_PARK", () => {
        server.message(device, "[ERROR] Motor stalled.");
        server.set(device, "CAP_PARK", "Alert");
      });
    },
    async (bench) => {
      const cover = await openCover(bench);
      await expect(cover.ensureOpen(bench.signal)).rejects.toBeInstanceOf(RefusedError);
      expect(await cover.state(bench.signal)).toBe("unknown");
    },
  ));

test("a name that the server does not know is answered with those that it has", () =>
  onBench(
    (server) => void server.load(connectionText("Lid B")),
    async ({ context, signal }) => {
      const cover = new IndiCover(context("Lid A"), { role: "cover" });
      await expect(cover.open(signal)).rejects.toThrow('has no device of this name; it has "Lid B"');
    },
  ));
