import { chmodSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from "node:fs";
import { createRequire } from "node:module";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { type Browser, chromium, type Page } from "playwright-core";
import { afterAll, beforeAll, expect, test } from "vitest";
import { openActing } from "../../agent/commands/serve-acting.ts";
import { serveOnStage } from "../../agent/rehearsal/serve-on-stage.ts";
import { Wishes } from "../../agent/service/deeds/wishes.ts";
import { listenPage } from "../../agent/service/page/listen-page.ts";
import { type PageSource, readBeforeWork } from "../../agent/service/page/page-facts.ts";
import type { ServiceLook, ServiceStatus } from "../../agent/service/service-status.ts";
import { silentLog } from "../../drivers/kit/log.ts";
import { readPlan } from "../../plans/plan-file.ts";
import { readRigFile } from "../../plans/rig-file.ts";
import { readSchedule } from "../../plans/schedule-file.ts";
import { onlyAHangMs } from "../only-a-hang.ts";
import { imagesPlan } from "../runs/serve-on-stage.ts";
import { checkWorld, openStage, tinyScene } from "../stage/stage.ts";

/** Debian's `chromium`, and axe-core's rules, on a service of a simulated rig whose clock stands still while the browser is busy. */
const folder = mkdtempSync(join(tmpdir(), "evenfield-browser-"));
const pictures = process.env.EVENFIELD_PICTURES; // where to leave screenshots for a person to look at
const axe = readFileSync(createRequire(import.meta.url).resolve("axe-core/axe.min.js"), "utf8");
const token = "a-token-of-this-test-that-is-long";
let browser: Browser;

beforeAll(async () => {
  browser = await chromium.launch({
    executablePath: "/usr/bin/chromium",
    args: ["--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage"],
  });
});
afterAll(async () => {
  await browser.close();
  rmSync(folder, { recursive: true });
});

/** At three widths, light and dark: nothing beside the screen, and none of axe's rules broken. */
async function examine(page: Page, name: string): Promise<void> {
  for (const width of [390, 800, 1400])
    for (const colorScheme of ["light", "dark"] as const) {
      await page.setViewportSize({ width, height: 900 });
      await page.emulateMedia({ colorScheme });
      expect(
        await page.evaluate("document.documentElement.scrollWidth"),
        `${name} ${width}`,
      ).toBeLessThanOrEqual(width);
      if (pictures)
        await page.screenshot({
          path: join(pictures, `${name}-${width}-${colorScheme}.png`),
          fullPage: true,
        });
      if (width === 800) continue;
      await page.evaluate(axe);
      const { violations, passes } = (await page.evaluate("axe.run()")) as Record<
        "violations" | "passes",
        { id: string; impact: string }[]
      >;
      expect(passes.length).toBeGreaterThan(10);
      expect(
        violations.map(({ id, impact }) => `${impact}: ${id}`),
        `${name} ${width} ${colorScheme}`,
      ).toEqual([]);
    }
}

/** Goes by keyboard to the field or button of that name. */
async function tabTo(page: Page, name: RegExp): Promise<void> {
  for (let presses = 0; presses < 40; presses++) {
    await page.keyboard.press("Tab");
    const focused = (await page.evaluate(
      "(document.activeElement.labels?.[0]?.textContent ?? '') + (document.activeElement.textContent ?? '')",
    )) as string;
    if (name.test(focused)) return;
  }
  throw new Error(`the keyboard does not get to ${name}`);
}

const nth = async (page: Page, name: RegExp, count: number) => {
  for (let at = 0; at < count; at++) await tabTo(page, name);
};

test("a run is watched, stopped and put back, the filter confirmed and the rig let go on, by keyboard alone", async () => {
  await using stage = await openStage({ scene: tinyScene, startUtc: "2026-06-21T10:00:00Z", seed: 5 });
  const { rig, site } = stage.rigFile;
  const timeZone = site.timeZone!;
  const rigPath = join(folder, "rig.yaml");
  const rigText = readFileSync(join(import.meta.dirname, "../../plans/demo-rig.yaml"), "utf8");
  writeFileSync(rigPath, rigText);
  const tokenFile = join(folder, "token");
  writeFileSync(tokenFile, token);
  chmodSync(tokenFile, 0o600);
  let status: ServiceStatus | undefined;
  let look: (() => ServiceLook) | undefined;
  const wishes = new Wishes();
  const { clock } = stage;
  const source: PageSource = {
    rig,
    timeZone,
    runsFolder: stage.runsFolder,
    ledger: stage.ledger,
    nowMs: () => clock.nowMs(),
    status: () => status,
    look: () => look?.(),
    acting: openActing(tokenFile, { rigPath, wishes, clock, log: silentLog, status: () => status }),
  };
  await using listened = await listenPage({ host: "127.0.0.1", port: 0 }, source, silentLog);
  const base = `http://localhost:${listened.port}`;
  const page = await (await browser.newContext()).newPage();
  const watcher = await page.context().newPage();
  page.context().setDefaultTimeout(onlyAHangMs);
  // The page renews itself where its script fails; on a busy machine that would come while it is examined.
  await page.context().route(`${base}/`, async (route) => {
    const response = await route.fetch();
    const { refresh, ...headers } = response.headers();
    expect(refresh).toBe("300");
    await route.fulfill({ response, headers });
  });
  const complaints: string[] = [];
  page.on("console", (message) => {
    if (message.type() === "error" && !message.location().url.endsWith("/favicon.ico"))
      complaints.push(message.text());
  });
  page.on("request", (request) => {
    if (!request.url().startsWith(base)) complaints.push(`asked elsewhere: ${request.url()}`);
  });
  const text = () => page.locator("main").textContent();

  /** Until what it leads to is shown. */
  const enter = async () => {
    const shown = page.waitForEvent("load");
    await page.keyboard.press("Enter");
    await shown;
  };

  const stopIt = async () => {
    await page.goto(base);
    await watcher.goto(base);
    expect(await text()).toMatch(/Running since .*\n*.*e1 is carried out/);
    expect(await text()).toContain("watched");
    await examine(page, "running");
    await tabTo(page, /Stop, hold/);
    await enter();
    await examine(page, "sign-in");
    await tabTo(page, /Token/);
    await page.keyboard.type(token);
    await enter();
    await page.waitForSelector("text=Stop and put back");
    await examine(page, "act");
    await tabTo(page, /Your name/);
    await page.keyboard.type("Ada");
    await enter();
  };
  const confirmAndGoOn = async () => {
    await page.goto(base);
    expect(await text()).toContain("Ada stopped what went on");
    expect(await text()).toContain("The telescope was covered when the last run ended");
    await watcher.waitForSelector("text=Ada stopped what went on"); // nobody asked it to load anything
    expect(await watcher.title()).toBe("scene: held");
    await examine(page, "held");
    await page.goto(`${base}/act`);
    await tabTo(page, /I inspected it/);
    await page.keyboard.press("Space");
    await tabTo(page, /Your name/);
    await page.keyboard.type("Ada");
    await enter();
    expect(readFileSync(rigPath, "utf8")).not.toBe(rigText);
    await page.goto(`${base}/act`);
    await nth(page, /Your name/, 3);
    await page.keyboard.type("Ada");
    await enter();
  };

  const done = new Set<string>();
  const once = (name: string, work: () => Promise<void>) => {
    if (done.has(name)) return;
    done.add(name);
    void clock.hold(work()).catch((error: unknown) => failures.push(error));
  };
  const failures: unknown[] = [];
  const states: string[] = [];
  await serveOnStage(stage, {
    hours: 1,
    wishes,
    inputStamp: () => "",
    readInput: () => ({
      loaded: {
        schedule: readSchedule(
          'schedule: s\nentries:\n  - { entry: e1, plan: p.yaml, when: { localTime: "10:01" } }\n',
          "s.yaml",
        ),
        plans: new Map([["e1", readPlan(imagesPlan, "p.yaml")]]),
      },
      rigFile: stage.rigFile,
      site: { ...site, timeZone },
    }),
    onReady: (read) => {
      look = read;
    },
    onStatus: (now) => {
      readBeforeWork(source, now, silentLog);
      status = now;
      if (states.at(-1) !== now.state) states.push(now.state);
      if (now.state === "running" && now.progress) once("stop", stopIt);
      if (now.state === "held") once("go on", confirmAndGoOn);
    },
  });
  expect(failures).toEqual([]);
  expect(complaints).toEqual([]);
  expect(states).toEqual(["starting", "standing by", "running", "held", "standing by", "stopping"]);
  expect(readRigFile(readFileSync(rigPath, "utf8"), rigPath).sunFilter.lastConfirmed).toMatch(
    /^2026-06-21T10:/,
  );
  expect(stage.differences()).toEqual([]);
  expect(checkWorld(stage.world)).toEqual([]);
});
