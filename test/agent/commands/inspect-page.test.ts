import { existsSync, readFileSync } from "node:fs";
import { expect, test } from "vitest";
import { registerInspect } from "../../../agent/commands/inspect.ts";
import { evenfield } from "./command-host.ts";
import { SkyFiles } from "./sky-files.ts";

const flatCards = [{ keyword: "IMAGETYP", value: "Flat" }];

test("a page and a picture of a flat, shown on an image whose dark is named", async () => {
  using sky = new SkyFiles(21, 96, 64);
  const flat = sky.write("flat.fits", (x, y) => 50_000 * sky.gain(x, y), { noise: 60, cards: flatCards });
  const image = sky.write("sun.fits", (x, y) => 300 + 20_000 * sky.gain(x, y), { noise: 40 });
  const dark = sky.write("dark.fits", () => 300);
  const inspect = (...args: string[]) => evenfield(registerInspect, ["inspect", flat, ...args]);
  const [page, picture] = [sky.path("flat.html"), sky.path("flat.png")];
  const host = await inspect(image, "--dark", dark, "--page", page, "--picture", picture, "--json");
  expect(host.json.written, host.err).toEqual([page, picture]);
  const html = readFileSync(page, "utf8");
  expect(html).toContain("The same, divided by the flat");
  expect(html).toContain("What the numbers say");
  expect(html).toContain("Levels");
  expect(readFileSync(picture).subarray(1, 4).toString()).toBe("PNG");
  const again = await inspect("--page", page);
  expect([again.exitCode, again.err]).toEqual([2, expect.stringContaining("is there already")]);
  const undarkened = await inspect(image, "--page", sky.path("other.html"));
  expect([undarkened.exitCode, undarkened.err]).toEqual([2, expect.stringContaining("--dark")]);
  expect(existsSync(sky.path("other.html"))).toBe(false);
});

test("any other file has a page of its figures and its picture", async () => {
  using sky = new SkyFiles(22, 96, 64);
  const image = sky.write("sun.fits", (x, y) => 300 + 20_000 * sky.gain(x, y), { noise: 40 });
  const page = sky.path("sun.html");
  await evenfield(registerInspect, ["inspect", image, "--page", page]);
  expect(readFileSync(page, "utf8")).toContain("The image");
});
