import { describe, expect, test } from "vitest";
import { connectDevice, disconnectDevice } from "../../../../drivers/indi/session/device-connection.ts";
import type { DeviceEvent } from "../../../../drivers/indi/session/property-news.ts";
import { DeadlineError, DeviceLostError, MissingAbilityError } from "../../../../drivers/kit/errors.ts";
import { vector } from "../far-end.ts";
import { signal, testClient, testDevice } from "../test-client.ts";

const seconds = (from: number, to: number) => (to - from) / 1000;
const pong = (text: string) => `<pingReply uid="${/uid="([^"]*)"/.exec(text)?.[1]}"/>`;
const connection = (action: "def" | "set", state: string, on: boolean) =>
  vector(action, "Switch", "D", "CONNECTION", state, {
    CONNECT: on ? "On" : "Off",
    DISCONNECT: on ? "Off" : "On",
  });

describe("the link", () => {
  test("pitfall 39 and the order of interest: the general request with version 1.7 goes first", async () => {
    const { clock, far, client } = testClient();
    await clock.drive(
      (async () => {
        await client.enableBlobs("D", "CCD1");
        await client.connect(signal);
        await clock.sleep(0.1);
        expect(far.heard[0]).toBe('<getProperties version="1.7"/>\n');
        await client.enableBlobs("E", "CCD1");
        await clock.sleep(0.1);
        const blobs = far.heard.filter((text) => text.includes("enableBLOB"));
        expect(blobs).toEqual([
          '<enableBLOB device="D" name="CCD1">Also</enableBLOB>\n',
          '<enableBLOB device="E" name="CCD1">Also</enableBLOB>\n',
        ]);
        await client.close();
        await client.close();
      })(),
    );
    expect(clock.pendingTimers).toBe(0);
  });

  test("an HTTP server at the INDI address is told as that", async () => {
    const { clock, far, client } = testClient();
    far.on(/getProperties/, () => {
      far.say("HTTP/1.1 400 Bad Request\r\nConnection: close\r\n\r\n");
      void far.hangUp();
    });
    const reasons: string[] = [];
    client.watch((event) => event.type === "linkDown" && reasons.push(event.reason));
    await clock.drive(
      (async () => {
        await client.connect(signal);
        await clock.sleep(0.1);
      })(),
    );
    expect(reasons[0]).toContain("an HTTP server answers there");
    await client.close();
  });

  test("no server: the first reason is kept, and the time is kept to", async () => {
    const { clock, far, client } = testClient({ serverName: "INDI server rig" });
    far.refuse = "connection refused";
    clock.setTimer(1, () => {
      far.refuse = "something else";
    });
    const startMs = clock.nowMs();
    const failed = client.connect(signal, { withinSeconds: 7 });
    await expect(clock.drive(failed)).rejects.toThrow("INDI server rig: connection refused");
    await expect(failed).rejects.toThrow(DeviceLostError);
    expect(seconds(startMs, clock.nowMs())).toBeCloseTo(7, 2);
    await client.close();
    expect(clock.pendingTimers).toBe(0);
  });

  test("pitfalls 15, 16: after a cut it comes back with growing waits, and asks for everything anew", async () => {
    const { clock, far, client } = testClient();
    far.on(/<getProperties version="1.7"\/>/, () =>
      far.say(vector("def", "Number", "D", "N", "Ok", { A: 1 })),
    );
    const ups: number[] = [];
    client.watch((event) => event.type === "linkUp" && ups.push(event.reconnects));
    await clock.drive(
      (async () => {
        await client.connect(signal);
        await client.enableBlobs("D", "CCD1");
        const device = client.device("D");
        await device.require(["N"], { withinSeconds: 1 }, signal);
        far.say('<setNumberVector device="D" name="N" state="Ok"><oneNumber name="A">9'); // cut within an element
        await clock.sleep(0.01);
        far.refuse = "restarting";
        await far.hangUp();
        await clock.sleep(0.01);
        expect(client.linkState).toBe("down");
        expect(client.deviceNames()).toEqual([]);
        await expect(device.refresh("N", {}, signal)).rejects.toThrow(/middle of a message/);
        clock.setTimer(20, () => {
          far.refuse = undefined;
        });
        const [back] = await device.require(["N"], { withinSeconds: 120 }, signal); // outlives the gap
        expect(back?.elements.get("A")?.value).toBe(1);
        expect(far.heardCount(/enableBLOB device="D" name="CCD1"/)).toBe(2);
        expect(far.heardCount(/<getProperties version="1.7"\/>/)).toBe(2);
        await client.close();
      })(),
    );
    expect(ups).toEqual([0, 1]);
    expect(clock.pendingTimers).toBe(0);
  });

  test("a server that accepts and hangs up at once is not asked ever faster", async () => {
    const { clock, far, client } = testClient({ backoff: { firstSeconds: 0.5, lastSeconds: 30 } });
    let opened = 0;
    far.on(/<getProperties/, (_, link) => {
      opened++;
      void link.close();
    });
    await clock.drive(
      (async () => {
        await client.connect(signal);
        await clock.sleep(600);
        await client.close();
      })(),
    );
    expect(opened).toBeLessThan(35);
    expect(opened).toBeGreaterThan(15);
  });

  test("a server that falls silent is given up after the ping goes unanswered", async () => {
    const { clock, far, client } = testClient({ ping: { everySeconds: 10, withinSeconds: 5 } });
    let silent = false;
    far.on(/<pingRequest/, (text) => !silent && far.say(pong(text)));
    await clock.drive(
      (async () => {
        await client.connect(signal);
        await clock.sleep(100);
        expect(client.linkState).toBe("up");
        silent = true;
        const startMs = clock.nowMs();
        await new Promise<void>((resolve) => client.watch((event) => event.type === "linkDown" && resolve()));
        expect(seconds(startMs, clock.nowMs())).toBeLessThanOrEqual(30);
        await client.close();
      })(),
    );
  });

  test("a server too old for pings is not given up for its silence", async () => {
    const { clock, client } = testClient();
    await clock.drive(
      (async () => {
        await client.connect(signal);
        await clock.sleep(500);
        expect(client.linkState).toBe("up");
        await client.close();
      })(),
    );
  });

  test("an element beyond the limits ends the link, and it comes back", async () => {
    const { clock, far, client } = testClient({ limits: { elementBytesMax: 1000 } });
    const downs: string[] = [];
    client.watch((event) => event.type === "linkDown" && downs.push(event.reason));
    await clock.drive(
      (async () => {
        await client.connect(signal);
        far.say(`<setTextVector device="D"><oneText name="A">${"x".repeat(2000)}`);
        await clock.sleep(5);
        expect(client.linkState).toBe("up");
        await client.close();
      })(),
    );
    expect(downs[0]).toMatch(/beyond the limit of 1000/);
  });
});

describe("pitfall 1: definitions that come late", () => {
  test("are waited for by name, and asked for once more", async () => {
    await testDevice("Idle", async ({ clock, far, device }) => {
      far.on(/<getProperties version="1.7" device="D" name="LATE"/, () =>
        far.say(vector("def", "Text", "D", "LATE", "Ok", { T: "x" })),
      );
      const startMs = clock.nowMs();
      const found = await device.require(["N", "LATE"], { withinSeconds: 10 }, signal);
      expect(found.map((one) => one.name)).toEqual(["N", "LATE"]);
      expect(seconds(startMs, clock.nowMs())).toBeCloseTo(5, 1);
    });
  });

  test("if they never come, the missing ones are named", async () => {
    await testDevice("Idle", async ({ device }) => {
      const failed = device.require(["N", "X", "Y"], { withinSeconds: 10 }, signal);
      await expect(failed).rejects.toThrow("D: did not offer X, Y within 10 s");
      await expect(failed).rejects.toThrow(MissingAbilityError);
    });
  });

  test("connecting waits until the definitions have gone quiet, not until everything has (pitfall 37)", async () => {
    await testDevice("Idle", async ({ clock, far, device, startMs }) => {
      far.say(connection("def", "Idle", false));
      far.on(/<newSwitchVector device="D" name="CONNECTION"/, () => {
        far.say('<message device="D" message="[ERROR] no settings file"/>');
        far.say(connection("set", "Ok", true));
        for (const after of [0.1, 0.4, 0.8, 1.2]) {
          clock.setTimer(after, () => far.say(vector("def", "Text", "D", `P${after}`, "Ok", { T: "x" })));
        }
        for (let i = 1; i < 100; i++)
          clock.setTimer(i * 0.1, () => far.say(vector("set", "Number", "D", "N", "Ok", { A: i })));
      });
      await connectDevice(device, signal);
      expect(seconds(startMs, clock.nowMs())).toBeCloseTo(1.7, 1);
      expect(device.property("P1.2")).toBeDefined();
      await connectDevice(device, signal); // connected already: no command
      expect(far.heardCount(/<newSwitchVector/)).toBe(1);
      await clock.sleep(10);
    });
  });

  test("connecting in vain tells the device's words", async () => {
    await testDevice("Idle", async ({ far, device }) => {
      far.say(connection("def", "Idle", false));
      far.on(
        /<newSwitchVector/,
        `<message device="D" message="[ERROR] no such port"/>${connection("set", "Alert", false)}`,
      );
      await expect(connectDevice(device, signal)).rejects.toThrow("[ERROR] no such port");
    });
  });

  test("disconnecting ends Idle", async () => {
    await testDevice("Idle", async ({ far, device }) => {
      far.say(connection("def", "Ok", true));
      far.on(/<newSwitchVector/, `${connection("set", "Idle", false)}<delProperty device="D" name="N"/>`);
      await device.require(["CONNECTION"], { withinSeconds: 1 }, signal);
      await disconnectDevice(device, signal);
      await disconnectDevice(device, signal);
      expect(far.heardCount(/<newSwitchVector/)).toBe(1);
    });
  });
});

describe("the store", () => {
  test("pitfall 2: an empty list at first is read anew by refresh", async () => {
    await testDevice("Idle", async ({ far, device }) => {
      far.say(
        '<defSwitchVector device="D" name="F" state="Idle" perm="rw" rule="OneOfMany"></defSwitchVector>',
      );
      far.on(/name="F"/, () => far.say(vector("def", "Switch", "D", "F", "Idle", { MONO: "On" })));
      await device.require(["F"], { withinSeconds: 1 }, signal);
      expect(device.property("F")?.elements.size).toBe(0);
      expect((await device.refresh("F", {}, signal)).elements.get("MONO")?.value).toBe(true);
    });
  });

  test("pitfall 3: defined twice, updated before it is defined, updated without ever being", async () => {
    await testDevice("Idle", async ({ clock, far, device }) => {
      far.say(vector("set", "Text", "D", "T", "Ok", { X: "early" }));
      far.say(vector("def", "Text", "D", "T", "Idle", { X: "first" }));
      far.say(vector("def", "Text", "D", "T", "Ok", { X: "second" }));
      far.say(vector("set", "Number", "D", "T", "Alert", { X: 5 })); // of another kind
      far.say(vector("set", "Text", "D", "T", "Ok", { Z: "no such element" }));
      await clock.sleep(0.1);
      expect(device.property("T")).toMatchObject({ state: "Ok", kind: "text" });
      expect([...device.property("T")!.elements.values()]).toEqual([
        { name: "X", label: "X", value: "second" },
      ]);
    });
  });

  test("pitfall 18: new limits come with updates, and everything goes with delProperty", async () => {
    await testDevice("Idle", async ({ clock, far, device }) => {
      far.say(
        '<setNumberVector device="D" name="N" state="Ok"><oneNumber name="A" min="0" max="500" step="1">5</oneNumber></setNumberVector>',
      );
      await clock.sleep(0.1);
      expect(device.property("N")?.elements.get("A")).toMatchObject({ max: 500, step: 1, value: 5 });
      expect(device.property("N")?.elements.get("B")).toMatchObject({ max: 100, value: 2 }); // a partial update keeps the rest
      far.say('<delProperty device="D" name="N"/>');
      await clock.sleep(0.1);
      expect(device.property("N")).toBeUndefined();
    });
  });

  test("pitfall 38: nan is kept as NaN, and a command that would send it on is refused", async () => {
    await testDevice("Idle", async ({ clock, far, device }) => {
      far.say(vector("set", "Number", "D", "N", "Ok", { A: "nan", B: "1e-06" }));
      await clock.sleep(0.1);
      expect(device.property("N")?.elements.get("A")?.value).toBeNaN();
      expect(device.property("N")?.elements.get("B")?.value).toBe(1e-6);
      await expect(device.change("N", { B: 1 }, { withinSeconds: 1 }, signal)).rejects.toThrow(/so give one/);
    });
  });

  test("an update without a state keeps the one from before the command", async () => {
    await testDevice("Ok", async ({ clock, far, device }) => {
      await device.send("N", { A: 5 }, signal);
      expect(device.property("N")?.state).toBe("Busy");
      far.say('<setNumberVector device="D" name="N"><oneNumber name="A">5</oneNumber></setNumberVector>');
      await clock.sleep(0.1);
      expect(device.property("N")).toMatchObject({ state: "Ok", awaitingAnswer: false });
    });
  });
});

describe("waiting", () => {
  test("waitFor sees what comes after the mark, and not what was there", async () => {
    await testDevice("Ok", async ({ clock, far, device }) => {
      const mark = await device.send("N", { A: 5 }, signal);
      const wait = device.waitFor("N", (v) => v.state === "Ok", { withinSeconds: 9, after: mark }, signal);
      clock.setTimer(2, () => far.say(vector("set", "Number", "D", "N", "Busy", { A: 5 })));
      clock.setTimer(3, () => far.say(vector("set", "Number", "D", "N", "Ok", { A: 5 })));
      expect((await wait).revision).toBeGreaterThan(mark);
      await device.waitFor("N", (v) => v.state === "Ok", { withinSeconds: 1 }, signal); // the present one will do
      await expect(
        device.waitFor("N", () => true, { withinSeconds: 4, after: device.revision }, signal),
      ).rejects.toThrow(DeadlineError);
    });
  });

  test("pitfall 40: a hung driver is found out by asking it, though the server answers pings", async () => {
    await testDevice("Ok", async ({ client, device }) => {
      await expect(device.refresh("N", { withinSeconds: 5 }, signal)).rejects.toThrow(
        "reading N did not end within 5.0 s",
      );
      expect(client.linkState).toBe("up");
    });
  });

  test("pitfall 27: refresh wants the definition, not some update that passes by", async () => {
    await testDevice("Ok", async ({ clock, far, device }) => {
      far.on(/name="N"/, () => {
        far.say(vector("set", "Number", "D", "N", "Ok", { A: 1 }));
        clock.setTimer(1, () => far.say(vector("def", "Number", "D", "N", "Busy", { A: 2 })));
      });
      expect((await device.refresh("N", {}, signal)).state).toBe("Busy");
    });
  });

  test("pitfalls 28, 35: a second controller's commands are told and never taken for a state", async () => {
    await testDevice("Ok", async ({ clock, far, device }) => {
      const seen: DeviceEvent[] = [];
      const stop = device.onForeignCommand((event) => seen.push(event));
      far.say('<newNumberVector device="D" name="N"><oneNumber name="A">77</oneNumber></newNumberVector>');
      await clock.sleep(0.1);
      stop();
      far.say('<newNumberVector device="D" name="N"><oneNumber name="A">78</oneNumber></newNumberVector>');
      await clock.sleep(0.1);
      expect(seen).toEqual([{ type: "foreignCommand", name: "N", values: { A: "77" } }]);
      expect(device.property("N")?.elements.get("A")?.value).toBe(1);
    });
  });

  test("pitfall 17: the driver comes back after its death with the same object", async () => {
    await testDevice("Ok", async ({ clock, far, device }) => {
      const events: string[] = [];
      device.watch((event) => events.push(event.type));
      far.say('<delProperty device="D"/>');
      await clock.sleep(0.05);
      expect(device.known).toBe(false);
      far.say(vector("def", "Number", "D", "N", "Idle", { A: 0 }));
      await device.require(["N"], { withinSeconds: 5 }, signal);
      expect(events).toEqual(["lost", "defined"]);
      expect(device.lostCount).toBe(1);
    });
  });
});
