import { readFileSync } from "node:fs";
import { join } from "node:path";
import { expect, test } from "vitest";
import { ElementParser, type XmlElement } from "../../../sim-devices/indi/element-parser.ts";
import { outline, session } from "../sim-session.ts";

const recordings = join(import.meta.dirname, "../../drivers/indi/recordings");

/** What the real server sent between two marks of a recording. */
function recorded(file: string, from: string, to: string): XmlElement[] {
  const text = readFileSync(join(recordings, file), "utf8");
  const start = text.indexOf(from);
  const part = text.slice(start, text.indexOf(to, start));
  if (start < 0 || part === "") throw new Error(`${file} has no part from ${from} to ${to}`);
  const elements: XmlElement[] = [];
  new ElementParser((element) => elements.push(element)).write(Buffer.from(part));
  return elements.filter((e) => !e.tag.startsWith("new"));
}

const camera = /^(CCD_EXPOSURE|CCD_ABORT_EXPOSURE)$/;

test("an exposure counts down as the reference camera's does, and so do an abort, a restart and an error", async () => {
  const file = "exposure-flow-1.9.9.xml";
  const plain = recorded(file, "<!-- INDI", "<!-- abort -->");
  const abort = recorded(file, "<!-- abort -->", "<!-- second exposure");
  const restart = recorded(file, "<!-- second exposure", "<!-- out of range");
  const tooShort = recorded(file, "<!-- out of range", "abc");
  const expose = (seconds: number) => ({ CCD_EXPOSURE_VALUE: seconds });
  await session(
    async ({ client, pass }) => {
      const seen: string[][] = [];
      await client.numbers("Scene Camera", "CCD_EXPOSURE", expose(3.5));
      await pass(6);
      seen.push(outline(client.take(), camera));
      await client.numbers("Scene Camera", "CCD_EXPOSURE", expose(4));
      await pass(1.3);
      await client.switchOn("Scene Camera", "CCD_ABORT_EXPOSURE", "ABORT");
      await pass(6);
      seen.push(outline(client.take(), camera));
      await client.numbers("Scene Camera", "CCD_EXPOSURE", expose(3));
      await pass(0.8);
      await client.numbers("Scene Camera", "CCD_EXPOSURE", expose(1));
      await pass(6);
      seen.push(outline(client.take(), camera));
      await client.numbers("Scene Camera", "CCD_EXPOSURE", expose(1e-9));
      await pass(1);
      seen.push(outline(client.take(), camera));
      expect(seen).toEqual([plain, abort, restart, tooShort].map((part) => outline(part, camera)));
    },
    { connect: ["Scene Camera"] },
  );
});

test("bad text, a read-only and an unknown property: messages at most, never a set", async () => {
  await session(
    async ({ client, pass }) => {
      await client.numbers("Scene Camera", "CCD_EXPOSURE", { CCD_EXPOSURE_VALUE: "abc" });
      await pass(0.1);
      const recordedTexts = recorded("exposure-flow-1.9.9.xml", "abc", "<!-- settings").map(
        (e) => e.attributes.message,
      );
      expect(client.take().map((e) => e.attributes.message)).toEqual(recordedTexts);
      await client.numbers("Scene Camera", "CCD_INFO", { CCD_MAX_X: 5 });
      await client.numbers("Scene Camera", "NO_SUCH", { X: 1 });
      await pass(1);
      expect(client.take()).toEqual([]);
    },
    { connect: ["Scene Camera"] },
  );
});

test("a frame is reported with the old state and then Ok; half a frame is an error", async () => {
  const file = "exposure-flow-1.9.9.xml";
  const real = recorded(file, "<!-- settings -->", "CCD_BINNING");
  await session(
    async ({ client, pass }) => {
      await client.numbers("Scene Camera", "CCD_FRAME", { X: 8, Y: 4, WIDTH: 40, HEIGHT: 30 });
      await client.numbers("Scene Camera", "CCD_FRAME", { WIDTH: 20 });
      await pass(0.1);
      expect(outline(client.take(), /^CCD_FRAME$/)).toEqual(outline(real, /^CCD_FRAME$/));
    },
    { connect: ["Scene Camera"] },
  );
});

test("definitions come in the form and with the elements of the reference camera's, before and after CONNECT", async () => {
  const file = "ccd-connect-1.9.9.xml";
  const text = readFileSync(join(recordings, file), "utf8");
  const real = new Map<string, XmlElement>();
  new ElementParser((e) => {
    if (e.tag.startsWith("def")) real.set(e.attributes.name ?? "", e);
  }).write(Buffer.from(text));
  // Its own choices: other snooped devices, one mono format, no ramp of the sensor.
  const own = new Set(["ACTIVE_DEVICES", "FITS_HEADER", "CCD_CAPTURE_FORMAT"]);
  await session(async ({ client, pass }) => {
    await client.say('<getProperties version="1.7" device="Scene Camera"/>');
    await pass(0.1);
    const before = client.take();
    expect(before[0]?.attributes.name).toBe("CONNECTION");
    await client.switchOn("Scene Camera", "CONNECTION", "CONNECT");
    await pass(0.1);
    const after = client.take();
    expect(outline(after)[0]).toBe("set CONNECTION Ok CONNECT");
    const defined = [...before, ...after].filter((e) => e.tag.startsWith("def"));
    const shared = defined.filter(
      (e) => real.has(e.attributes.name ?? "") && !own.has(e.attributes.name ?? ""),
    );
    expect(shared.length).toBeGreaterThan(16);
    const shape = (e: XmlElement | undefined) => ({
      tag: e?.tag,
      attributes: Object.keys(e?.attributes ?? {}),
      rule: e?.attributes.rule,
      elements: e?.children.map((c) =>
        [c.tag, c.attributes.name, Object.keys(c.attributes).join()].join(" "),
      ),
    });
    for (const e of shared) expect(shape(e)).toEqual(shape(real.get(e.attributes.name ?? "")));
    for (const name of ["CCD_EXPOSURE", "CCD_FRAME", "CCD_BINNING", "CCD_GAIN", "CCD1", "UPLOAD_MODE"]) {
      expect(before.some((e) => e.attributes.name === name)).toBe(false);
      expect(after.some((e) => e.attributes.name === name)).toBe(true);
    }
    await client.switchOn("Scene Camera", "CONNECTION", "DISCONNECT");
    await pass(0.1);
    const gone = client.take();
    expect(outline(gone)[0]).toBe("set CONNECTION Idle DISCONNECT");
    const deleted = gone.filter((e) => e.tag === "delProperty").map((e) => e.attributes.name);
    expect(deleted).toEqual(after.filter((e) => e.tag.startsWith("def")).map((e) => e.attributes.name));
  });
});

test("a cover opens, refuses a contrary command in mid-motion and tells the truth at the end", async () => {
  const real = recorded("dust-cover-2.2.4.xml", "<!-- INDI", "C->S +13.006");
  await session(
    async ({ client, pass }) => {
      await client.switchOn("Scene Cover", "CAP_PARK", "UNPARK");
      await pass(6);
      await client.switchOn("Scene Cover", "CAP_PARK", "PARK");
      await pass(1.5);
      await client.switchOn("Scene Cover", "CAP_PARK", "UNPARK");
      await pass(6);
      // The reference one's last set still shows the refused wish; ours shows where the leaf is.
      const ours = outline(client.take(), /^CAP_PARK$/);
      const theirs = outline(real, /^CAP_PARK$/);
      expect(ours.slice(0, -1)).toEqual(theirs.slice(0, -1));
      expect([ours.at(-1), theirs.at(-1)]).toEqual(["set CAP_PARK Ok PARK", "set CAP_PARK Ok UNPARK"]);
    },
    { connect: ["Scene Cover"] },
  );
});

const mountPart =
  /^(TELESCOPE_TRACK_MODE|TELESCOPE_TRACK_STATE|TELESCOPE_PARK|EQUATORIAL_EOD_COORD|TELESCOPE_TIMED_GUIDE_NS)$/;

test("a goto, a pulse and tracking on and off go as the reference mount's do", async () => {
  const file = "mount-flow-1.9.9.xml";
  const pulse = recorded(file, "<!-- pulse -->", "<!-- track off/on -->");
  const track = recorded(file, "<!-- track off/on -->", "<!-- abort during goto -->");
  await session(
    async ({ client, pass, simulator }) => {
      const { raHours } = simulator.world.mount.believed;
      await client.numbers("Scene Mount", "EQUATORIAL_EOD_COORD", { RA: raHours, DEC: 20 });
      await pass(60);
      expect(outline(client.take(), mountPart)).toEqual([
        "set EQUATORIAL_EOD_COORD Busy",
        "set TELESCOPE_TRACK_STATE Busy TRACK_ON",
        "set EQUATORIAL_EOD_COORD Ok",
      ]);
      await client.numbers("Scene Mount", "TELESCOPE_TIMED_GUIDE_NS", {
        TIMED_GUIDE_N: 500,
        TIMED_GUIDE_S: 0,
      });
      await pass(2);
      expect(outline(client.take(), mountPart)).toEqual(outline(pulse, mountPart));
      await client.switchOn("Scene Mount", "TELESCOPE_TRACK_STATE", "TRACK_OFF");
      await pass(0.5);
      await client.switchOn("Scene Mount", "TELESCOPE_TRACK_STATE", "TRACK_ON");
      await pass(0.5);
      expect(outline(client.take(), mountPart)).toEqual(outline(track, mountPart));
    },
    {
      connect: ["Scene Mount"],
      overrides: { mount: { startsParked: false, startPointing: { hourAngleHours: 0, decDegrees: 0 } } },
    },
  );
});

test("a parked mount refuses without an Alert, and unparks", async () => {
  const real = recorded("mount-flow-1.9.9.xml", "<!-- while parked -->", 'name="UNPARK"');
  await session(
    async ({ client, pass }) => {
      await client.numbers("Scene Mount", "EQUATORIAL_EOD_COORD", { RA: 5, DEC: 20 });
      await client.switchOn("Scene Mount", "TELESCOPE_TRACK_STATE", "TRACK_ON");
      await pass(0.1);
      const refused = /^(EQUATORIAL_EOD_COORD|TELESCOPE_TRACK_STATE)$/;
      expect(outline(client.take(), refused)).toEqual(outline(real, refused));
      await client.switchOn("Scene Mount", "TELESCOPE_PARK", "UNPARK");
      await client.switchOn("Scene Mount", "TELESCOPE_PARK", "UNPARK");
      await pass(0.1);
      expect(outline(client.take(), /TELESCOPE_PARK$/)).toEqual([
        "set TELESCOPE_PARK Ok UNPARK",
        "set TELESCOPE_PARK Idle UNPARK",
      ]);
    },
    { connect: ["Scene Mount"] },
  );
});

test("no answer at all to a target outside the sky or half a target", async () => {
  await session(
    async ({ client, pass, simulator }) => {
      simulator.world.mount.setTracking(true, "sidereal");
      await pass(1);
      client.take();
      await client.numbers("Scene Mount", "EQUATORIAL_EOD_COORD", { RA: 25, DEC: 20 });
      await client.numbers("Scene Mount", "EQUATORIAL_EOD_COORD", { RA: 5 });
      await pass(20);
      expect(client.take()).toEqual([]); // silent while it tracks, too
    },
    {
      connect: ["Scene Mount"],
      overrides: { mount: { startsParked: false, startPointing: { hourAngleHours: 0, decDegrees: 0 } } },
    },
  );
});
