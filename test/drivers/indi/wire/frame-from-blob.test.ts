import { expect, test } from "vitest";
import type { IndiBlob } from "../../../../drivers/indi/wire/blob.ts";
import { FrameCheck } from "../../../../drivers/indi/wire/frame-check.ts";
import { frameFromBlob, UnreadableFrameError } from "../../../../drivers/indi/wire/frame-from-blob.ts";
import { fitsBytes } from "../scripted-camera.ts";
import { parseWire, recording } from "../scripted-server.ts";

const size = { widthPx: 4, heightPx: 2 };
const facts = { exposureSeconds: 1, startedUtcMs: Date.UTC(2026, 5, 1, 12), ...size };

function blob(bytes: Uint8Array, format = ".fits"): IndiBlob {
  return {
    device: "c",
    name: "CCD1",
    element: "CCD1",
    format,
    bytes,
    state: "Ok",
    timestamp: undefined,
    startedRevision: 1,
  };
}

test("a recorded 16 x 16 frame: size, time and exposure from its header, unsigned words", () => {
  const text = recording("fits-blob-16x16-1.9.9.xml").replaceAll(/<!--[^>]*-->/g, "");
  const recorded = parseWire(text).find((wire) => wire.tag === "setBLOBVector")!;
  const frame = frameFromBlob(blob(Buffer.from(recorded.children[0]!.text, "base64")), size);
  expect(frame).toMatchObject({ widthPx: 16, heightPx: 16, exposureSeconds: 0.2 });
  expect(new Date(frame.startedUtcMs!).toISOString()).toMatch(/^2026-11-24T23:\d\d:\d\d\.\d{3}Z$/);
  // Frames of this simulator without a scene are noise of 0 to 9 counts.
  expect(Math.max(...frame.pixelsAdu)).toBeLessThan(10);
  expect(new Set(frame.pixelsAdu).size).toBeGreaterThan(5);
});

test("a recorded native frame has no geometry: a whole sensor for a small region is refused, not cut", () => {
  const bytes = new Uint8Array(1280 * 1024 * 2);
  expect(() => frameFromBlob(blob(bytes, ".bin"), { widthPx: 16, heightPx: 16 })).toThrow(
    UnreadableFrameError,
  );
});

test("raw counts of 16 and of 8 bits, told apart by their length alone", () => {
  const words = frameFromBlob(
    blob(Uint8Array.of(1, 0, 2, 0, 3, 0, 4, 0, 0, 1, 0, 2, 255, 255, 8, 0), ".bin"),
    size,
  );
  expect([...words.pixelsAdu]).toEqual([1, 2, 3, 4, 256, 512, 65535, 8]);
  const bytes = frameFromBlob(blob(Uint8Array.of(1, 2, 3, 4, 5, 6, 7, 255), ".bin"), size);
  expect([...bytes.pixelsAdu]).toEqual([1, 2, 3, 4, 5, 6, 7, 255]);
});

const counts = [0, 1, 2, 3, 4, 5, 6, 255];
for (const pixels of [
  Uint8Array.from(counts),
  Int16Array.from(counts),
  Uint16Array.from(counts),
  Int32Array.from(counts),
  Uint32Array.from(counts),
  Float32Array.from(counts),
  Float64Array.from(counts),
]) {
  test(`counts in ${pixels.constructor.name} come through as they are`, () => {
    expect([...frameFromBlob(blob(fitsBytes({ ...facts, pixels })), size).pixelsAdu]).toEqual(counts);
  });
}

for (const [what, pixels] of [
  ["negative counts (unsigned words without BZERO)", Int16Array.of(0, 1, 2, 3, 4, 5, 6, -1)],
  ["counts beyond 16 bits", Uint32Array.of(0, 1, 2, 3, 4, 5, 6, 70_000)],
  ["a normalised picture", Float32Array.of(0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 1)],
  ["pixels without a value", Float32Array.of(0, 1, 2, 3, 4, 5, 6, Number.NaN)],
] as const) {
  test(`${what} are refused, not guessed at`, () => {
    expect(() => frameFromBlob(blob(fitsBytes({ ...facts, pixels })), size)).toThrow(UnreadableFrameError);
  });
}

test("colour, damage and unknown formats are refused", () => {
  expect(() => frameFromBlob(blob(new Uint8Array(2880)), size)).toThrow(UnreadableFrameError);
  expect(() => frameFromBlob(blob(fitsBytes(facts).slice(0, 2884)), size)).toThrow(UnreadableFrameError);
  expect(() => frameFromBlob(blob(fitsBytes(facts), ".fits.fz"), size)).toThrow(/not read/);
});

test("two short frames within one second of a clock that shows whole seconds are both good", () => {
  const check = new FrameCheck();
  const asked = { exposureSeconds: 0.1, exposureCounts: true, requestedUtcMs: facts.startedUtcMs, ...size };
  const frame = { ...frameFromBlob(blob(fitsBytes({ ...facts, exposureSeconds: 0.1 })), size) };
  expect(check.problem(frame, asked)).toBeUndefined();
  expect(check.problem(frame, { ...asked, requestedUtcMs: facts.startedUtcMs + 300 })).toBeUndefined();
  const exact = { ...frame, startedUtcMs: facts.startedUtcMs + 123 };
  expect(check.problem(exact, asked)).toBeUndefined();
  expect(check.problem(exact, asked)).toMatch(/once more/);
});

test("an exposure time that the camera rounds is its truth at the second showing", () => {
  const check = new FrameCheck();
  const asked = { exposureSeconds: 0.02, exposureCounts: true, requestedUtcMs: facts.startedUtcMs, ...size };
  const frame = { ...frameFromBlob(blob(fitsBytes({ ...facts, exposureSeconds: 0.04 })), size) };
  expect(check.problem(frame, asked)).toMatch(/exposed 0.04 s, not 0.02 s/);
  expect(check.problem(frame, asked)).toBeUndefined();
});
