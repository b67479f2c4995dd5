import { mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { afterAll, expect, test } from "vitest";
import { inspectFile } from "../../../../agent/files/inspect/inspect-file.ts";
import { loadFft } from "../../../../agent/imaging/numerics/fft-library.ts";
import { writeFitsFile } from "../../../../drivers/formats/fits-write.ts";
import { lightScene } from "../../imaging/light/light-scene.ts";

const folder = mkdtempSync(join(tmpdir(), "evenfield-looks-"));
afterAll(() => rmSync(folder, { recursive: true, force: true }));
const fft = await loadFft();

/** A flat and nine frames of the Sun as files, counts of 16 bits. */
function filesOf(name: string, scene: ReturnType<typeof lightScene>) {
  const { widthPx, heightPx } = scene.input.shape;
  const write = (file: string, values: Float32Array, imageType: string) => {
    const path = join(folder, file);
    const cards = [{ keyword: "IMAGETYP", value: imageType }];
    const pixels = Uint16Array.from(values, Math.round);
    writeFitsFile(path, [{ pixels, shape: [heightPx, widthPx], cards }], { writtenUtcMs: 0, replace: true });
    return path;
  };
  const flat = scene.input.flat.gain.map((value) => 45_000 * value);
  return {
    flat: write(`${name}-flat.fits`, flat, "Flat Field"),
    lookFiles: scene.input.looks.map((look, k) => write(`${name}-look-${k}.fits`, look, "Light Frame")),
  };
}

test("looks at the Sun beside a flat: what its light wrote into it is told, with the field that was seen", () => {
  const uneven = filesOf("uneven", lightScene({ seed: 20261205, error: (x, y) => -0.08 * (x * x + y * y) }));
  const { figures, verdict, measures, notes } = inspectFile(uneven.flat, fft, {
    lookFiles: uneven.lookFiles,
  });
  const error = figures.find(({ id }) => id === "lightError")!;
  expect(error.verdict).not.toBe("good");
  expect(verdict).not.toBe("good");
  expect(measures.find(({ name }) => name === "field that two looks showed")!.value).toBeGreaterThan(90);
  expect(notes.join(" ")).toMatch(/slope of the light was not measured/);
  expect(notes.join(" ")).toMatch(/correction of the light would help: `correctLight: true`.* instead of/);
});

test("an even flat: no error of its light is told", () => {
  const even = filesOf("even", lightScene({ seed: 20261206 }));
  const { figures, notes } = inspectFile(even.flat, fft, { lookFiles: even.lookFiles });
  expect(notes.join()).toContain("No dark was taken off the frames of the Sun");
  expect(notes.join()).not.toContain("correction of the light");
  expect(figures.find(({ id }) => id === "lightError")!.verdict).toBe("good");
});

test("a flat alone: that its light was not proved, and which frames would prove it; looks of another size are refused", () => {
  const scene = lightScene({ seed: 20261207, looks: 4 });
  const { flat, lookFiles } = filesOf("alone", scene);
  const { reasons, figures, verdict } = inspectFile(flat, fft);
  expect(verdict).not.toBe("good");
  expect(reasons.join(" ")).toMatch(/light was not proved.*eight or more frames/);
  expect(figures.some(({ id }) => id === "lightError")).toBe(false);
  const few = inspectFile(flat, fft, { lookFiles: lookFiles.slice(0, 2) });
  expect(few.reasons.join(" ")).toMatch(/not proved: 2 of 2 frames hold light, and 4 are needed/);
  const small = filesOf("small", lightScene({ seed: 1, shape: { widthPx: 96, heightPx: 96 }, looks: 1 }));
  expect(() => inspectFile(flat, fft, { lookFiles: small.lookFiles })).toThrow(/96 x 96 px/);
});
