import { expect, test } from "vitest";
import { VirtualClock } from "../../../drivers/kit/virtual-clock.ts";
import { CapDevice } from "../../../sim-devices/indi/devices/cap-device.ts";
import { ElementParser, type XmlElement } from "../../../sim-devices/indi/element-parser.ts";
import { runDriver } from "../../../sim-devices/indi/run-driver.ts";
import { SnoopedRig } from "../../../sim-devices/indi/snooped-rig.ts";
import { seenFrom } from "../../../sim-devices/scene/sun/sun-place.ts";
import { bareWorld, outline } from "../sim-session.ts";

async function* lines(...texts: string[]): AsyncGenerator<Uint8Array> {
  for (const text of texts) yield Buffer.from(text);
}

/** Runs a cover's driver on that input to its end. */
async function drive(...input: string[]) {
  const { world } = bareWorld();
  const heard: XmlElement[] = [];
  const others: string[] = [];
  const parser = new ElementParser((element) => heard.push(element));
  const pipes = {
    input: lines(...input),
    write: (bytes: string | Uint8Array) => parser.write(Buffer.from(bytes)),
    log: () => {},
  };
  const driver = runDriver([new CapDevice("A Cover", world, "cover")], pipes, (e) => others.push(e.tag));
  driver.snoop({ device: 'A "Mount"', name: "TELESCOPE_PARK" });
  const status = await driver.ended;
  return { status, heard, others };
}

test("a driver program defines, obeys, passes on what it snoops, and ends with its input", async () => {
  const { status, heard, others } = await drive(
    '<getProperties version="1.7"/>',
    '<newSwitchVector device="A Cover" name="CONNECTION"><oneSwitch name="CONNECT">On</one',
    'Switch></newSwitchVector><setSwitchVector device="B" name="TELESCOPE_PARK" state="Ok"/>',
    '<newSwitchVector device="Other" name="CONNECTION"><oneSwitch name="CONNECT">On</oneSwitch></newSwitchVector>',
  );
  expect(status).toBe(0);
  expect(heard[0]).toMatchObject({
    tag: "getProperties",
    attributes: { version: "1.7", device: 'A "Mount"' },
  });
  expect(outline(heard.slice(1), /^(CONNECTION|CAP_PARK)$/)).toEqual([
    "def CONNECTION Idle DISCONNECT",
    "set CONNECTION Ok CONNECT",
    "def CAP_PARK Ok PARK",
  ]);
  expect(others).toEqual(["setSwitchVector"]);
});

test("asked in no version or in a later one it exits, as the reference library's drivers do", async () => {
  expect((await drive("<getProperties/>")).status).toBe(1);
  expect((await drive('<getProperties version="9.9"/>')).status).toBe(1);
});

function snooping(clock: VirtualClock) {
  const rig = new SnoopedRig({
    clock,
    active: { ACTIVE_TELESCOPE: "M", ACTIVE_COVER: "C", ACTIVE_FOCUSER: "" },
    mount: { pointingErrorDegrees: { east: 0.1, north: -0.2 }, driftArcsecPerSecond: { east: 0, north: 0 } },
    leafSeconds: { cover: 5, diffuser: 4 },
  });
  const parser = new ElementParser((element) => rig.hear(element));
  const hear = (xml: string) => parser.write(Buffer.from(xml));
  const coordinates = (state: string, ra: number, dec: number) =>
    hear(
      `<setNumberVector device="M" name="EQUATORIAL_EOD_COORD" state="${state}"><oneNumber name="RA">${ra}</oneNumber><oneNumber name="DEC">${dec}</oneNumber></setNumberVector>`,
    );
  const choose = (device: string, name: string, state: string, element: string) =>
    hear(
      `<setSwitchVector device="${device}" name="${name}" state="${state}"><oneSwitch name="${element}">On</oneSwitch></setSwitchVector>`,
    );
  return { rig, coordinates, choose };
}

test("a snooped mount is carried on while it is silent: still, at the solar rate, or left standing", async () => {
  const clock = new VirtualClock(0);
  const { rig, coordinates, choose } = snooping(clock);
  expect(rig.lineOfSight).toBeUndefined();
  const movedIn = async (seconds: number) => {
    const before = rig.lineOfSight!;
    await clock.drive(clock.sleep(seconds));
    return seenFrom(before, rig.lineOfSight!).eastArcsec / seconds;
  };
  coordinates("Ok", 6, 0);
  choose("M", "TELESCOPE_TRACK_STATE", "Busy", "TRACK_ON");
  expect(rig.lineOfSight?.raHours).toBeCloseTo(6 + 0.1 / 15, 6);
  expect(rig.lineOfSight?.decDegrees).toBeCloseTo(-0.2, 9);
  expect(await movedIn(100)).toBeCloseTo(0, 6);
  choose("M", "TELESCOPE_TRACK_MODE", "Ok", "TRACK_SOLAR");
  expect(await movedIn(100)).toBeCloseTo(0.041067, 5);
  choose("M", "TELESCOPE_TRACK_STATE", "Idle", "TRACK_OFF");
  expect(await movedIn(100)).toBeCloseTo(15.041067, 3);
  coordinates("Busy", 7, 10);
  expect(await movedIn(1)).toBeCloseTo(0, 6);
});

test("a snooped cover is on its way while Busy and where it says at the end", async () => {
  const clock = new VirtualClock(0);
  const { rig, choose } = snooping(clock);
  expect(rig.coverOpen).toBeUndefined();
  choose("C", "CAP_PARK", "Ok", "PARK");
  expect(rig.coverOpen).toBe(0);
  choose("C", "CAP_PARK", "Busy", "UNPARK");
  await clock.drive(clock.sleep(2));
  expect(rig.coverOpen).toBeCloseTo(0.4, 9);
  choose("C", "CAP_PARK", "Ok", "UNPARK");
  expect(rig.coverOpen).toBe(1);
  expect(rig.wishes().map((w) => w.device)).toEqual(["M", "M", "M", "M", "C"]);
});
