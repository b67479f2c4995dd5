import { spawn } from "node:child_process";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { Pool } from "undici/index.js";
import { AlpacaRigServer } from "../../drivers/alpaca/rig-server.ts";
import { AlpacaDevice } from "../../drivers/alpaca/session/device.ts";
import { imageFromBytes } from "../../drivers/alpaca/wire/image-bytes.ts";
import { AlpacaServer } from "../../drivers/alpaca/wire/server.ts";
import { UndiciExchange } from "../../drivers/alpaca/wire/undici-exchange.ts";
import { number } from "../../drivers/alpaca/wire/values.ts";
import { systemClock } from "../../drivers/kit/clock.ts";
import { silentLog } from "../../drivers/kit/log.ts";
import { Random } from "../../drivers/kit/random.ts";
import { SpareMemory } from "../../drivers/kit/spare-memory.ts";
import { VirtualClock } from "../../drivers/kit/virtual-clock.ts";
import { ScriptedAlpaca } from "../drivers/alpaca/scripted-alpaca.ts";
import { cameraName, ScriptedCamera } from "../drivers/alpaca/scripted-camera.ts";

/**
 * Image bytes to rows beside numpy (one process, asked in turn), small requests beside a bare client of the same HTTP
 * library, and what waiting for a long exposure costs.
 */
const [widthPx, heightPx] = [3096, 2910];
const pxCount = widthPx * heightPx;
const turns = 15;
const asked = { device: "bench", member: "imagearray", transactionId: 0 };

function median(values: readonly number[]): number {
  return values.toSorted((a, b) => a - b)[values.length >> 1]!;
}

function quantile(values: readonly number[], part: number): number {
  return values.toSorted((a, b) => a - b)[Math.floor(part * (values.length - 1))]!;
}

/** A whole reply of the protocol: header and columns. */
function imageReply(type: 2 | 8): Uint8Array {
  const random = new Random(7);
  const itemBytes = type === 2 ? 4 : 2;
  const bytes = new Uint8Array(44 + pxCount * itemBytes);
  const header = new Int32Array(bytes.buffer, 0, 11);
  header.set([1, 0, 0, 0, 44, 2, type, 2, widthPx, heightPx, 0]);
  const items = type === 2 ? new Int32Array(bytes.buffer, 44) : new Uint16Array(bytes.buffer, 44);
  for (let i = 0; i < pxCount; i++) items[i] = random.uniform() * 65536;
  return bytes;
}

const peerSource = `
import sys, time
import numpy as np
for line in sys.stdin:
    path, dtype, w, h = line.split()
    data = open(path, 'rb').read()
    start = time.perf_counter()
    rows = np.frombuffer(data, dtype, offset=44).reshape(int(w), int(h)).T.astype(np.uint16, order='C')
    took = time.perf_counter() - start
    weights = np.arange(1, 1 + rows.size, dtype=np.uint64).reshape(rows.shape) % 1009
    print(took * 1e3, int((rows.astype(np.uint64) * weights).sum()), flush=True)
`;

/** Depends on the order of the pixels, so that a picture turned the other way shows. */
function orderedSum(rows: Uint16Array): number {
  let sum = 0;
  for (let i = 0; i < rows.length; i++) sum += rows[i]! * ((i + 1) % 1009);
  return sum;
}

async function imagesBesideNumpy(): Promise<void> {
  const peer = spawn("/usr/bin/python3", ["-c", peerSource], { stdio: ["pipe", "pipe", "inherit"] });
  const lines = peer.stdout.setEncoding("utf8")[Symbol.asyncIterator]();
  let pending = "";
  const ask = async (line: string): Promise<[number, number]> => {
    peer.stdin.write(`${line}\n`);
    while (!pending.includes("\n")) pending += String((await lines.next()).value);
    const [first] = pending.split("\n");
    pending = pending.slice(first!.length + 1);
    return first!.split(" ").map(Number) as [number, number];
  };
  for (const [type, dtype, name] of [
    [2, "<i4", "int32"],
    [8, "<u2", "uint16"],
  ] as const) {
    const reply = imageReply(type);
    const file = join(tmpdir(), `alpaca-bench-${process.pid}.bin`);
    await Bun.write(file, reply);
    const ours: number[] = [];
    const theirs: number[] = [];
    const memory = new SpareMemory();
    for (let turn = 0; turn < turns + 3; turn++) {
      const start = Bun.nanoseconds();
      const { pixelsAdu } = imageFromBytes(reply, asked, { maxAdu: 65535, memory });
      const took = (Bun.nanoseconds() - start) / 1e6;
      const [peerTook, peerSum] = await ask(`${file} ${dtype} ${widthPx} ${heightPx}`);
      if (peerSum !== orderedSum(pixelsAdu)) throw new Error(`${name}: the pictures differ`);
      memory.giveBack(pixelsAdu); // as a series does when a frame is used
      if (turn < 3) continue; // compiled by then
      ours.push(took);
      theirs.push(peerTook);
    }
    const [mine, peers] = [median(ours), median(theirs)];
    console.log(
      `${`image bytes ${name} to rows, 9 Mpix`.padEnd(44)} ${mine.toFixed(2)} ms, numpy ${peers.toFixed(2)} ms: ${(peers / mine).toFixed(1)} x`,
    );
    await Bun.file(file).delete();
  }
  peer.stdin.end();
}

/** A server of its own in a process of its own, so that the client's work is the client's alone. */
const serverSource = `
const server = Bun.serve({ port: 0, hostname: "127.0.0.1", async fetch(request) {
  const url = new URL(request.url);
  if (url.pathname.endsWith("imagearray")) return new Response(Bun.file(process.argv[1]), { headers: { "content-type": "application/imagebytes" } });
  const id = Number(url.searchParams.get("ClientTransactionID") ?? 0);
  return Response.json({ ClientTransactionID: id, ServerTransactionID: id, ErrorNumber: 0, ErrorMessage: "", Value: 12.25 });
} });
console.log(server.port);
`;

async function overHttp(): Promise<void> {
  const file = join(tmpdir(), `alpaca-bench-${process.pid}.bin`);
  await Bun.write(file, imageReply(2));
  const far = spawn(process.execPath, ["-e", serverSource, file], { stdio: ["pipe", "pipe", "inherit"] });
  const port = Number(
    await new Promise<string>((resolve) => far.stdout.once("data", (data) => resolve(String(data)))),
  );
  const signal = new AbortController().signal;
  const exchange = new UndiciExchange({ host: "127.0.0.1", port }, systemClock);
  const server = new AlpacaServer({
    exchange,
    clock: systemClock,
    log: silentLog,
    clientId: 1,
    name: "bench",
  });
  const device = new AlpacaDevice(server, { name: "bench", type: "telescope", number: 0 });
  const pool = new Pool(`http://127.0.0.1:${port}`, { connections: 4 });
  const bare = async (): Promise<number> => {
    const { body } = await pool.request({
      method: "GET",
      path: "/api/v1/telescope/0/altitude?ClientID=1&ClientTransactionID=1",
    });
    return ((await body.json()) as { Value: number }).Value;
  };
  const ours = () => device.get("altitude", number, signal);
  const times: Record<"ours" | "bare", number[]> = { ours: [], bare: [] };
  const rounds = { warm: 3000, counted: 12_000, block: 200 };
  for (let i = 0; i < rounds.warm + rounds.counted; i += rounds.block) {
    for (const [who, ask] of [
      ["ours", ours],
      ["bare", bare],
    ] as const) {
      for (let k = 0; k < rounds.block; k++) {
        const start = Bun.nanoseconds();
        if ((await ask()) !== 12.25) throw new Error("a wrong value");
        if (i >= rounds.warm) times[who].push((Bun.nanoseconds() - start) / 1e3);
      }
    }
  }
  for (const [name, part] of [
    ["p50", 0.5],
    ["p99", 0.99],
  ] as const) {
    const [mine, theirs] = [quantile(times.ours, part), quantile(times.bare, part)];
    console.log(
      `${`small request, ${name}`.padEnd(44)} ${mine.toFixed(0)} us, bare client ${theirs.toFixed(0)} us: ${(mine / theirs).toFixed(2)} x`,
    );
  }
  const camera = new AlpacaDevice(server, { name: "bench", type: "camera", number: 0 });
  const images: number[] = [];
  const readOnly: number[] = [];
  for (let i = 0; i < turns + 3; i++) {
    const start = Bun.nanoseconds();
    const { pixelsAdu } = await camera.image(65535, 30, signal);
    if (i >= 3) images.push((Bun.nanoseconds() - start) / 1e6);
    if (pixelsAdu.length !== pxCount) throw new Error("a wrong image");
    const bareStart = Bun.nanoseconds();
    const { body } = await pool.request({ method: "GET", path: "/api/v1/camera/0/imagearray" });
    if ((await body.arrayBuffer()).byteLength !== 44 + 4 * pxCount) throw new Error("a wrong body");
    if (i >= 3) readOnly.push((Bun.nanoseconds() - bareStart) / 1e6);
  }
  console.log(
    `${"9 Mpix of int32 by HTTP to rows".padEnd(44)} ${median(images).toFixed(1)} ms (least ${Math.min(...images).toFixed(1)}), bare client reading only ${median(readOnly).toFixed(1)} ms`,
  );
  await exchange.close();
  await pool.close();
  far.kill();
  await Bun.file(file).delete();
}

/** Requests while a 60 s exposure is waited for, and what they cost the processor at the rate just measured. */
async function idleCost(): Promise<void> {
  const clock = new VirtualClock(Date.UTC(2026, 5, 21, 10));
  const far = new ScriptedAlpaca(clock);
  new ScriptedCamera(far, clock);
  const signal = new AbortController().signal;
  await clock.drive(
    (async () => {
      await using server = new AlpacaServer({
        exchange: far,
        clock,
        log: silentLog,
        clientId: 1,
        name: "bench",
      });
      const rig = new AlpacaRigServer(server, { clock, log: silentLog });
      await rig.open(signal);
      await using camera = await rig
        .role("camera", { device: cameraName }, { ownsConnection: true })
        .open(signal);
      const { expose } = camera as unknown as {
        expose(request: object, signal: AbortSignal): Promise<unknown>;
      };
      const take = () => expose.call(camera, { exposureSeconds: 60, frameType: "light" }, signal);
      await take();
      const [before, startMs] = [far.seen.length, clock.nowMs()];
      const cpu = process.cpuUsage();
      await take();
      const { user, system } = process.cpuUsage(cpu);
      const minutes = (clock.nowMs() - startMs) / 60_000;
      console.log(
        `${"waiting for a 60 s exposure".padEnd(44)} ${((far.seen.length - before) / minutes).toFixed(1)} requests per minute with start, image and facts, ${((user + system) / 1000).toFixed(1)} ms of processor`,
      );
    })(),
  );
}

await imagesBesideNumpy();
await overHttp();
await idleCost();
