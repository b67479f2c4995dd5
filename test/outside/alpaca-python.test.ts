import { spawn } from "node:child_process";
import { expect, test } from "vitest";
import { systemClock } from "../../drivers/kit/clock.ts";
import { startSimulator } from "../../sim-devices/start-simulator.ts";
import { smallSpec } from "../sim-devices/sim-session.ts";

/**
 * A client that shares nothing with this project: Python's own HTTP, sockets and JSON, numpy for the image. It finds
 * the simulated devices by discovery, connects the new way, exposes and reads the image in both forms, slews and parks.
 */
const client = `
import json, socket, struct, sys, time, urllib.parse, urllib.request
import numpy as np

discovery_port = int(sys.argv[1])
udp = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
udp.setsockopt(socket.SOL_SOCKET, socket.SO_BROADCAST, 1)
udp.settimeout(600)
udp.sendto(b"alpacadiscovery1", ("127.255.255.255", discovery_port))
reply, sender = udp.recvfrom(1024)
base = f"http://{sender[0]}:{json.loads(reply)['AlpacaPort']}"
count = 0

def call(method, path, accept="application/json", **given):
    global count
    count += 1
    given = {**given, "ClientID": 321, "ClientTransactionID": count}
    text = urllib.parse.urlencode(given)
    url = base + path + ("?" + text if method == "GET" else "")
    request = urllib.request.Request(url, method=method, data=text.encode() if method == "PUT" else None)
    request.add_header("Accept", accept)
    with urllib.request.urlopen(request) as answer:
        kind, body = answer.headers["Content-Type"], answer.read()
    if kind.startswith("application/imagebytes"):
        return body
    told = json.loads(body)
    assert told["ClientTransactionID"] == count, told
    if told.get("ErrorNumber", 0) != 0:
        raise RuntimeError(f"{path}: {told['ErrorNumber']} {told['ErrorMessage']}")
    return told.get("Value")

def get(path, **given): return call("GET", "/api/v1/" + path, **given)
def put(path, **given): return call("PUT", "/api/v1/" + path, **given)

def until(condition, seconds=30):
    end = time.time() + seconds
    while not condition():
        assert time.time() < end, "it takes too long"
        time.sleep(0.05)

devices = call("GET", "/management/v1/configureddevices")
for kind in ("camera/0", "telescope/0"):
    put(kind + "/connect")
    until(lambda: not get(kind + "/connecting"))
    assert get(kind + "/connected")

put("camera/0/startexposure", Duration=0.2, Light=True)
until(lambda: get("camera/0/imageready"))
columns = np.array(get("camera/0/imagearray"))
raw = call("GET", "/api/v1/camera/0/imagearray", accept="application/imagebytes")
head = struct.unpack("<ii II iiii iii", raw[:44])
kinds = {6: np.uint8, 8: np.uint16, 1: np.int16, 2: np.int32}
binary = np.frombuffer(raw, dtype=np.dtype(kinds[head[6]]).newbyteorder("<"), offset=head[4]).reshape(head[8], head[9])

put("telescope/0/unpark")
put("telescope/0/tracking", Tracking=True)
target = (get("telescope/0/siderealtime") + 0.2) % 24
put("telescope/0/slewtocoordinatesasync", RightAscension=target, Declination=85)
until(lambda: not get("telescope/0/slewing"))
state = {one["Name"]: one["Value"] for one in get("telescope/0/devicestate")}
put("telescope/0/trackingrate", TrackingRate=2)
rate = get("telescope/0/trackingrate")
put("telescope/0/park")
until(lambda: get("telescope/0/atpark"))
print(json.dumps({
    "devices": len(devices), "shape": list(columns.shape), "same": bool((columns == binary).all()),
    "spread": float(binary.std()), "rate": rate,
    "off": abs(state["RightAscension"] - target), "declination": state["Declination"],
}))
`;

const discoveryPort = 32_292;

test("a client in Python finds the devices, exposes, reads the image in both forms, slews and parks", async () => {
  await using simulator = await startSimulator({
    spec: smallSpec({ mount: { slewDegreesPerSecond: 20 } }),
    clock: systemClock,
    alpacaPort: 0,
    alpacaDiscoveryPort: discoveryPort,
  });
  const told = await printedBy(client, [String(discoveryPort)]);
  expect(told).toMatchObject({ devices: 11, shape: [64, 48], same: true, rate: 2 });
  expect(told.spread).toBeGreaterThan(0);
  expect(told.off).toBeLessThan(1e-3);
  expect(told.declination).toBeCloseTo(85, 2);
  expect(simulator.world.mount.parked).toBe(true);
});

/** Not waited for in one go: the devices that it talks to live in this process. */
function printedBy(script: string, args: readonly string[]): Promise<Record<string, number>> {
  const process = spawn("/usr/bin/python3", ["-c", script, ...args]);
  let out = "";
  let errors = "";
  process.stdout.on("data", (chunk: Buffer) => {
    out += chunk.toString();
  });
  process.stderr.on("data", (chunk: Buffer) => {
    errors += chunk.toString();
  });
  return new Promise((resolve, reject) => {
    process.on("close", (code) => {
      if (code === 0) resolve(JSON.parse(out) as Record<string, number>);
      else reject(new Error(`python ended with ${code}: ${errors}`));
    });
  });
}
