import { expect, test } from "vitest";
import { type AlpacaClient, type Bench, onDevices } from "./alpaca-client.ts";

const onMount = (work: (bench: Bench) => Promise<void>, options: Parameters<typeof onDevices>[1] = {}) =>
  onDevices(work, { connect: ["telescope/0"], ...options });

const value = (client: AlpacaClient, member: string, given = {}) =>
  client.value(`telescope/0/${member}`, given);
const put = (client: AlpacaClient, member: string, given = {}) =>
  client.outcome(`telescope/0/${member}`, given);

/** Unparked and tracking; one hour east of the meridian at declination 20. */
async function awake({ client }: Bench): Promise<{ RightAscension: number; Declination: number }> {
  await put(client, "unpark");
  await put(client, "tracking", { Tracking: true });
  const sidereal = (await value(client, "siderealtime")) as number;
  return { RightAscension: (sidereal + 1) % 24, Declination: 20 };
}

test("parked: everything that would move is refused by number, what is harmless is not", () =>
  onMount(async ({ client }) => {
    expect(await value(client, "atpark")).toBe(true);
    const place = { RightAscension: 5, Declination: 20 };
    for (const [member, given] of [
      ["slewtocoordinatesasync", place],
      ["synctocoordinates", place],
      ["moveaxis", { Axis: 0, Rate: 1 }],
      ["pulseguide", { Direction: 0, Duration: 100 }],
      ["abortslew", {}],
      ["tracking", { Tracking: true }],
    ] as const)
      expect([member, await put(client, member, given)]).toEqual([member, 0x408]);
    expect(await put(client, "tracking", { Tracking: false })).toBe(0);
    expect(await put(client, "park")).toBe(0);
    expect(await put(client, "unpark")).toBe(0);
    expect(await put(client, "unpark")).toBe(0);
    expect(await value(client, "atpark")).toBe(false);
    expect(await value(client, "tracking")).toBe(false);
    expect(await put(client, "slewtocoordinatesasync", place)).toBe(0x40b); // it does not track
  }));

test("a slew answers at once, shows itself, arrives, and tracks on; the target is remembered", () =>
  onMount(async (bench) => {
    const { client, pass } = bench;
    for (const member of ["targetrightascension", "targetdeclination"])
      expect((await client.get(`telescope/0/${member}`)).error).toBe(0x402);
    expect(await put(client, "slewtotargetasync")).toBe(0x408);
    const place = await awake(bench);
    expect(await put(client, "slewtotargetasync")).toBe(0x402);
    expect(await put(client, "slewtocoordinatesasync", place)).toBe(0);
    expect(await value(client, "slewing")).toBe(true);
    expect(await value(client, "targetrightascension")).toBe(place.RightAscension);
    expect(await value(client, "targetdeclination")).toBe(20);
    await pass(90);
    expect(await value(client, "slewing")).toBe(false);
    expect(await value(client, "rightascension")).toBeCloseTo(place.RightAscension, 5);
    expect(await value(client, "declination")).toBeCloseTo(20, 4);
    expect(await value(client, "tracking")).toBe(true);
    // Half way to elsewhere an abort leaves it there.
    await put(client, "targetdeclination", { TargetDeclination: 60 });
    expect(await put(client, "slewtotargetasync")).toBe(0);
    await pass(3);
    expect(await put(client, "abortslew")).toBe(0);
    expect(await value(client, "slewing")).toBe(false);
    expect(await value(client, "tracking")).toBe(true);
    expect(await value(client, "declination")).toBeLessThan(40);
  }));

test.each([
  ["slewtocoordinatesasync", { RightAscension: -1, Declination: 0 }],
  ["slewtocoordinatesasync", { RightAscension: 24, Declination: 0 }],
  ["synctocoordinates", { RightAscension: 1, Declination: 100 }],
  ["targetrightascension", { TargetRightAscension: 25 }],
  ["targetdeclination", { TargetDeclination: -100 }],
  ["slewtoaltazasync", { Altitude: 100, Azimuth: 10 }],
  ["slewtoaltazasync", { Altitude: 10, Azimuth: 370 }],
  ["sitelatitude", { SiteLatitude: 91 }],
  ["sitelongitude", { SiteLongitude: -181 }],
  ["siteelevation", { SiteElevation: -400 }],
  ["trackingrate", { TrackingRate: 5 }],
  ["trackingrate", { TrackingRate: -1 }],
  ["trackingrate", { TrackingRate: 3 }],
  ["moveaxis", { Axis: 0, Rate: 50 }],
  ["moveaxis", { Axis: 3, Rate: 1 }],
  ["pulseguide", { Direction: 4, Duration: 10 }],
  ["pulseguide", { Direction: 1, Duration: -10 }],
  ["guideraterightascension", { GuideRateRightAscension: 3 }],
  ["utcdate", { UTCDate: "2026-06-21T10:00:00" }],
])("an invalid value: %s %j", (member, given) =>
  onMount(async (bench) => {
    await awake(bench);
    expect(await put(bench.client, member, given)).toBe(0x401);
  }),
);

test("beyond its limits the mount does not go: an invalid operation, told in words", () =>
  onMount(async (bench) => {
    const { RightAscension } = await awake(bench);
    const told = await bench.client.put("telescope/0/slewtocoordinatesasync", {
      RightAscension: (RightAscension + 11) % 24,
      Declination: -60,
    });
    expect(told.error).toBe(0x40b);
    expect(told.text).toMatch(/limit/);
  }));

test("the Sun's own rate: 15 arcsec of hour angle a second, so that its right ascension grows", () =>
  onMount(async (bench) => {
    const { client, pass, simulator } = bench;
    await put(client, "slewtocoordinatesasync", await awake(bench));
    await pass(90);
    expect(await value(client, "trackingrates")).toEqual([0, 1, 2]);
    expect(await put(client, "trackingrate", { TrackingRate: 2 })).toBe(0);
    expect(await value(client, "trackingrate")).toBe(2);
    expect(simulator.world.mount.rate).toBe("solar");
    const before = (await value(client, "rightascension")) as number;
    await pass(1000);
    const grownArcsec = (((await value(client, "rightascension")) as number) - before) * 54_000;
    expect(grownArcsec).toBeCloseTo(1000 * 0.0411, 1);
  }));

test("rate offsets: at sidereal rate only, in seconds of right ascension per sidereal second", () =>
  onMount(async (bench) => {
    const { client, pass } = bench;
    await put(client, "slewtocoordinatesasync", await awake(bench));
    await pass(90);
    expect(await put(client, "rightascensionrate", { RightAscensionRate: 0.1 })).toBe(0);
    expect(await put(client, "declinationrate", { DeclinationRate: -2 })).toBe(0);
    expect(await value(client, "rightascensionrate")).toBeCloseTo(0.1, 9);
    expect(await value(client, "declinationrate")).toBe(-2);
    expect(await value(client, "trackingrate")).toBe(0);
    const before = [
      (await value(client, "rightascension")) as number,
      (await value(client, "declination")) as number,
    ];
    await pass(100);
    const after = [
      (await value(client, "rightascension")) as number,
      (await value(client, "declination")) as number,
    ];
    const siderealSeconds = 100 * 1.00273791;
    expect((after[0]! - before[0]!) * 3600).toBeCloseTo(0.1 * siderealSeconds, 2);
    expect((after[1]! - before[1]!) * 3600).toBeCloseTo(-200, 0);
    await put(client, "trackingrate", { TrackingRate: 2 });
    expect(await value(client, "rightascensionrate")).toBe(0);
    expect(await put(client, "rightascensionrate", { RightAscensionRate: 0.1 })).toBe(0x40b);
    await put(client, "trackingrate", { TrackingRate: 0 });
    expect(await value(client, "declinationrate")).toBe(0);
  }));

test("moving an axis: that rate and no other while it lasts, then tracking as before", () =>
  onMount(async (bench) => {
    const { client, pass, simulator } = bench;
    await put(client, "slewtocoordinatesasync", await awake(bench));
    await pass(90);
    expect(await value(client, "canmoveaxis", { Axis: 1 })).toBe(true);
    expect(await value(client, "canmoveaxis", { Axis: 2 })).toBe(false);
    expect(await value(client, "axisrates", { Axis: 2 })).toEqual([]);
    const [range] = (await value(client, "axisrates", { Axis: 0 })) as { Minimum: number; Maximum: number }[];
    expect(range!.Maximum).toBeGreaterThan(range!.Minimum);
    const axes = () => simulator.world.mount.believedAxes;
    const before = axes();
    expect(await put(client, "moveaxis", { Axis: 0, Rate: 0.5 })).toBe(0);
    expect(await put(client, "moveaxis", { Axis: 1, Rate: -0.25 })).toBe(0);
    expect(await value(client, "slewing")).toBe(true);
    await pass(4);
    const after = axes();
    expect(after.hourAngleDegrees - before.hourAngleDegrees).toBeCloseTo(-2, 6);
    expect(after.decDegrees - before.decDegrees).toBeCloseTo(-1, 6);
    await put(client, "moveaxis", { Axis: 0, Rate: 0 });
    expect(await value(client, "slewing")).toBe(true);
    await put(client, "moveaxis", { Axis: 1, Rate: 0 });
    expect(await value(client, "slewing")).toBe(false);
    expect(await value(client, "tracking")).toBe(true);
  }));

test("guide pulses: in degrees a second of the rate set, in their direction", () =>
  onMount(async (bench) => {
    const { client, pass } = bench;
    await put(client, "slewtocoordinatesasync", await awake(bench));
    await pass(90);
    expect(await put(client, "guideratedeclination", { GuideRateDeclination: 0.001 })).toBe(0);
    const north = (await value(client, "declination")) as number;
    const east = (await value(client, "rightascension")) as number;
    expect(await put(client, "pulseguide", { Direction: 1, Duration: 2000 })).toBe(0);
    expect(await put(client, "pulseguide", { Direction: 2, Duration: 1000 })).toBe(0);
    expect(await value(client, "ispulseguiding")).toBe(true);
    expect(await value(client, "slewing")).toBe(false);
    await pass(2.1);
    expect(await value(client, "ispulseguiding")).toBe(false);
    expect(((await value(client, "declination")) as number) - north).toBeCloseTo(-0.002, 6);
    const rate = (await value(client, "guideraterightascension")) as number;
    expect((((await value(client, "rightascension")) as number) - east) * 15).toBeCloseTo(rate, 5);
  }));

test("by altitude and azimuth only while it does not track, and it stands there", () =>
  onMount(async (bench) => {
    const { client, pass } = bench;
    await awake(bench);
    const place = { Altitude: 50, Azimuth: 160 };
    expect(await put(client, "slewtoaltazasync", place)).toBe(0x40b);
    await put(client, "tracking", { Tracking: false });
    expect(await put(client, "slewtoaltazasync", place)).toBe(0);
    await pass(90);
    expect(await value(client, "slewing")).toBe(false);
    expect(await value(client, "tracking")).toBe(false);
    expect(await value(client, "altitude")).toBeCloseTo(50, 2);
    expect(await value(client, "azimuth")).toBeCloseTo(160, 2);
  }));

test("parking shows as slewing; a new park position is where it stands", () =>
  onMount(async (bench) => {
    const { client, pass } = bench;
    await put(client, "slewtocoordinatesasync", await awake(bench));
    await pass(90);
    expect(await put(client, "setpark")).toBe(0);
    await put(client, "moveaxis", { Axis: 1, Rate: 1 });
    await pass(5);
    await put(client, "moveaxis", { Axis: 1, Rate: 0 });
    expect(await put(client, "park")).toBe(0);
    expect(await value(client, "slewing")).toBe(true);
    expect(await value(client, "atpark")).toBe(false);
    expect(await put(client, "tracking", { Tracking: true })).toBe(0x40b);
    await pass(30);
    expect(await value(client, "atpark")).toBe(true);
    expect(await value(client, "tracking")).toBe(false);
    expect(await value(client, "declination")).toBeCloseTo(20, 3);
  }));

test("site and clock are the mount's own belief, and can be set", () =>
  onMount(async ({ client, clock, simulator }) => {
    const { mount, spec } = simulator.world;
    expect(await value(client, "sitelatitude")).toBe(spec.site.latitudeDegrees);
    expect(await value(client, "utcdate")).toBe(new Date(clock.nowMs()).toISOString());
    const sidereal = (await value(client, "siderealtime")) as number;
    expect(await put(client, "sitelongitude", { SiteLongitude: spec.site.longitudeDegrees - 15 })).toBe(0);
    expect(((await value(client, "siderealtime")) as number) - sidereal).toBeCloseTo(-1, 6);
    const late = new Date(clock.nowMs() + 90_500).toISOString();
    expect(await put(client, "utcdate", { UTCDate: late })).toBe(0);
    expect(mount.clockErrorSeconds).toBeCloseTo(90.5, 3);
    expect(await value(client, "utcdate")).toBe(late);
  }));

test("before Platform 7 a synchronous slew answers when it has arrived", () =>
  onMount(
    async (bench) => {
      const { client, clock } = bench;
      expect(await value(client, "canslewasync")).toBe(false);
      expect(await value(client, "canslew")).toBe(true);
      const place = await awake(bench);
      expect(await put(client, "slewtocoordinatesasync", place)).toBe(0x400);
      const startMs = clock.nowMs();
      expect(await put(client, "slewtocoordinates", place)).toBe(0);
      expect(clock.nowMs() - startMs).toBeGreaterThan(5000);
      expect(await value(client, "slewing")).toBe(false);
      expect(await value(client, "declination")).toBeCloseTo(20, 4);
    },
    { alpaca: { platform: 6, slews: "sync" } },
  ));
