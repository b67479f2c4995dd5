import { expect, test } from "vitest";
import { encoded, onDevices } from "./alpaca-client.ts";

test("the client's transaction is echoed, the server's own counts from 1 without gaps", () =>
  onDevices(async ({ client }) => {
    const first = await client.send("GET", "camera/0/name", "ClientID=5&ClientTransactionID=77");
    expect(first).toMatchObject({ client: 77, server: 1, value: "Scene Camera" });
    expect(await client.send("GET", "camera/0/name", "clientid=5&CLIENTTRANSACTIONID=78")).toMatchObject({
      client: 78,
      server: 2,
    });
    expect(await client.send("GET", "camera/0/name")).toMatchObject({ client: 0, server: 3 });
    expect(await client.send("GET", "/management/apiversions", "ClientTransactionID=9")).toMatchObject({
      client: 9,
      server: 4,
    });
  }));

test("on a write a mis-cased id counts as none", () =>
  onDevices(async ({ client }) => {
    const told = await client.send(
      "PUT",
      "camera/0/connected",
      "Connected=True&clienttransactionid=5&clientid=3",
    );
    expect(told).toMatchObject({ status: 200, error: 0, client: 0 });
  }));

test.each(["-1", "abc", "", "1.5", "4294967296", "%20"])("an id of %j is HTTP 400", (id) =>
  onDevices(async ({ client }) => {
    for (const name of ["ClientID", "ClientTransactionID"]) {
      expect((await client.send("GET", "camera/0/name", `${name}=${id}`)).status).toBe(400);
      expect((await client.send("PUT", "camera/0/connected", `Connected=true&${name}=${id}`)).status).toBe(
        400,
      );
    }
  }),
);

test("parameters in any order, further ones ignored, words for true in any casing, numbers with an exponent", () =>
  onDevices(
    async ({ client, simulator }) => {
      const { world } = simulator;
      const told = await client.send(
        "PUT",
        "camera/0/startexposure",
        "Extra=1&Light=TRUE&ClientTransactionID=4&Duration=1e-2",
      );
      expect(told).toMatchObject({ status: 200, error: 0, client: 4 });
      expect(world.camera.phase).toBe("exposing");
    },
    { connect: ["camera/0"] },
  ));

test("parameters of a write count only in its body", () =>
  onDevices(async ({ client }) => {
    const { status } = await client.send("PUT", "camera/0/connected?Connected=true");
    expect(status).toBe(400);
  }));

test("not connected: 0x407 for what needs the device, answers for the rest", () =>
  onDevices(async ({ client }) => {
    for (const path of [
      "camera/0/gain",
      "telescope/0/canpark",
      "telescope/0/devicestate",
      "safetymonitor/0/issafe",
    ])
      expect([path, (await client.get(path)).error]).toEqual([path, 0x407]);
    expect(await client.outcome("focuser/0/move", { Position: 5 })).toBe(0x407);
    for (const name of [
      "name",
      "description",
      "driverinfo",
      "driverversion",
      "interfaceversion",
      "supportedactions",
    ])
      expect([name, (await client.get(`dome/0/${name}`)).error]).toEqual([name, 0]);
    expect(await client.value("dome/0/connected")).toBe(false);
    // The first error in the request comes before what the device says.
    expect(await client.outcome("focuser/0/move", { Position: "far" })).toBe(400);
  }));

test("Connect takes its time and shows it; Connected does it at once; either way round, again and again", () =>
  onDevices(
    async ({ client, pass }) => {
      expect(await client.outcome("camera/0/connect")).toBe(0);
      expect(await client.value("camera/0/connecting")).toBe(true);
      expect(await client.value("camera/0/connected")).toBe(false);
      await pass(1.1);
      expect(await client.value("camera/0/connecting")).toBe(false);
      expect(await client.value("camera/0/connected")).toBe(true);
      expect(await client.outcome("camera/0/connect")).toBe(0);
      expect(await client.value("camera/0/connecting")).toBe(false);
      expect(await client.outcome("camera/0/disconnect")).toBe(0);
      await pass(1.1);
      expect(await client.value("camera/0/connected")).toBe(false);
      for (const Connected of [true, true, false, false]) {
        expect(await client.outcome("camera/0/connected", { Connected })).toBe(0);
        expect(await client.value("camera/0/connected")).toBe(Connected);
      }
    },
    { alpaca: { connectSeconds: 1 } },
  ));

test("no actions and no raw commands: none are listed, each is not implemented", () =>
  onDevices(async ({ client }) => {
    expect(await client.value("rotator/0/supportedactions")).toEqual([]);
    expect(await client.outcome("rotator/0/action", { Action: "spin", Parameters: "" })).toBe(0x400);
    expect(await client.outcome("rotator/0/commandstring", { Command: "spin", Raw: true })).toBe(0x400);
  }));

interface Listed {
  readonly DeviceName: string;
  readonly DeviceType: string;
  readonly DeviceNumber: number;
  readonly UniqueID: string;
}

const listed = async (seed: number) => {
  let list: readonly Listed[] = [];
  await onDevices(
    async ({ client }) => {
      list = (await client.value("/management/v1/configureddevices").catch(async () => {
        return (await client.get("/management/v1/configureddevices")).value;
      })) as readonly Listed[];
    },
    { scene: { seed } },
  );
  return list;
};

test("names and numbers are stable, and ids of devices follow from the scene's seed", async () => {
  const [first, again, other] = [await listed(7), await listed(7), await listed(8)];
  expect(again).toEqual(first);
  const ids = first.map(({ UniqueID }) => UniqueID);
  expect(new Set(ids).size).toBe(11);
  expect(other.map(({ UniqueID }) => UniqueID).filter((id) => ids.includes(id))).toEqual([]);
  expect(other.map(({ DeviceName }) => DeviceName)).toEqual(first.map(({ DeviceName }) => DeviceName));
  expect(first.map(({ DeviceType, DeviceNumber }) => `${DeviceType} ${DeviceNumber}`)).toEqual([
    "Camera 0",
    "Telescope 0",
    "CoverCalibrator 0",
    "CoverCalibrator 1",
    "Focuser 0",
    "FilterWheel 0",
    "Rotator 0",
    "Dome 0",
    "SafetyMonitor 0",
    "ObservingConditions 0",
    "Switch 0",
  ]);
});

test("a page for each device, one for all, and 403 for any other", () =>
  onDevices(async ({ client }) => {
    const all = await client.send("GET", "/setup");
    expect(all).toMatchObject({ status: 200, contentType: "text/html; charset=utf-8" });
    const links = [...all.text.matchAll(/href="([^"]+)"/g)].map(([, link]) => link!);
    expect(links.length).toBe(11);
    for (const link of links) expect((await client.send("GET", link)).status).toBe(200);
    for (const wrong of ["/setup/v1/camera/1/setup", "/setup/v1/Camera/0/setup", "/setup/v2/camera/0/setup"])
      expect([wrong, (await client.send("GET", wrong)).status]).toEqual([wrong, 403]);
  }));

test("a restart: nobody is connected, the exposure is lost, numbers begin anew, settings stay in the camera", () =>
  onDevices(
    async ({ client, simulator, pass }) => {
      expect(await client.outcome("camera/0/gain", { Gain: 33 })).toBe(0);
      await client.put("camera/0/startexposure", { Duration: 10, Light: true });
      const server = simulator.alpacaServer;
      server.restart(2);
      expect(server.isDown).toBe(true);
      await pass(2.1);
      expect(server.isDown).toBe(false);
      expect(await client.send("GET", "camera/0/connected", encoded({ ClientID: 1 }))).toMatchObject({
        value: false,
        server: 1,
      });
      await client.put("camera/0/connected", { Connected: true });
      expect(await client.value("camera/0/imageready")).toBe(false);
      expect(await client.value("camera/0/camerastate")).toBe(0);
      expect(await client.value("camera/0/gain")).toBe(33);
    },
    { connect: ["camera/0"] },
  ));
