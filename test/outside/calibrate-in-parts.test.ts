import { spawnSync } from "node:child_process";
import { readdirSync } from "node:fs";
import { join, resolve } from "node:path";
import { expect, test } from "vitest";
import { readCcdImage } from "../../drivers/formats/ccd-image.ts";
import { writeNight } from "../agent/commands/night-files.ts";
import { SkyFiles } from "../agent/commands/sky-files.ts";

const main = resolve(import.meta.dirname, "../../agent/main.ts");

test("parts that GNU parallel starts side by side are together what one command makes", () => {
  using sky = new SkyFiles(1);
  const night = writeNight(sky);
  const calibrate = ["calibrate", night, "--despite-move", "-o"];
  // Three files of that night can't be used, which is exit code 2.
  const whole = spawnSync(process.execPath, [main, ...calibrate, sky.path("whole")], { encoding: "utf8" });
  expect(whole.status, whole.stderr).toBe(2);
  const parts = [
    "--jobs",
    "3",
    process.execPath,
    main,
    ...calibrate,
    sky.path("parts"),
    "--part",
    "{}/3",
    ":::",
  ];
  const inParts = spawnSync("parallel", [...parts, "1", "2", "3"], { encoding: "utf8" });
  expect(inParts.error, inParts.stderr).toBeUndefined();
  // What no image of a part needs, the page and the table are made by whoever joins the parts.
  const joined = spawnSync(process.execPath, [main, ...calibrate, sky.path("parts"), "--json"], {
    encoding: "utf8",
  });
  const rows: { kind: string; ended: string }[] = JSON.parse(joined.stdout).result.files;
  expect(rows.filter(({ ended }) => ended === "written")).toEqual([]);
  expect(rows.filter(({ ended }) => ended === "done before").length).toBe(8);
  const names = (folder: string) =>
    readdirSync(sky.path(folder), { recursive: true, encoding: "utf8" })
      .filter((name) => name.endsWith(".fits"))
      .sort();
  expect(names("whole").length).toBeGreaterThan(8);
  expect(names("parts")).toEqual(names("whole"));
  for (const name of names("whole")) {
    const [ours, theirs] = ["whole", "parts"].map(
      (folder) => readCcdImage(join(sky.path(folder), name)).data,
    );
    expect(theirs, name).toEqual(ours);
  }
});
