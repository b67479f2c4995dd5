import { spawnSync } from "node:child_process";
import { run as mutations } from "../mutations/mutations.ts";
import { run as centring, resultText, rowText } from "./centring.ts";
import { run as defocus } from "./defocus.ts";
import { run as displaced } from "./displaced.ts";
import { run as drill } from "./drill.ts";
import { run as dust } from "./dust.ts";
import { run as executables } from "./executables.ts";
import { run as exposure } from "./exposure.ts";
import { run as fringes } from "./fringes.ts";
import { run as kill } from "./kill.ts";
import { run as kills } from "./kill-moments.ts";
import { run as leak } from "./leak.ts";
import { run as light } from "./light.ts";
import { run as lightOutside } from "./light-outside.ts";
import { run as lightRigs } from "./light-rigs.ts";
import { run as lightRuns } from "./light-runs.ts";
import { run as master } from "./master.ts";
import { run as match } from "./match.ts";
import { run as serviceKills } from "./service-kills.ts";
import { run as storms } from "./storms.ts";

/** `npm run campaign [NAME…] [-- COUNT]`: hundreds of seeded scenes, a table each. All of them take about half an hour. */
const print = (line: string) => console.log(line);
const seed = 20260621;

const campaigns: Record<string, (count: number | undefined) => Promise<void>> = {
  exposure: async (count = 1000) => {
    exposure({ seed, starts: count, print });
  },
  centring: async (count = 100) => {
    const seeds = Array.from({ length: count }, (_, i) => i + 1);
    print(`Centring: ${count} scenes, seeds 1 to ${count}`);
    print(resultText(await centring(seeds, (row) => print(rowText(row)))));
  },
  leak: async (count = 100) => {
    await leak({ seed, scenes: count, print });
  },
  light: async (count = 200) => {
    await lightRigs({ seed, rigs: count, print });
  },
  /** Frames made by numpy alone. */
  "light-outside": async (count = 100) => {
    await lightOutside({ seed, count, print });
  },
  "light-solved": async (count = 100) => {
    await light({ seed, scenes: count, print });
  },
  displaced: async (count = 6) => {
    for (const group of ["table", "variations", "real", "disc"] as const)
      await displaced({ seed: 1, group, scenes: count, print });
  },
  "light-runs": async (count) => {
    await lightRuns({ print, ...(count === undefined ? {} : { count }) });
  },
  master: async (count = 20) => {
    await master({ seed, scenes: count, print });
  },
  defocus: async (count = 20) => {
    await defocus({ seed: 1, scenes: count, print });
  },
  dust: async (count = 100) => {
    dust({ seed, flats: count, print });
  },
  fringes: async (count = 100) => {
    await fringes({ seed, scenes: count, print });
  },
  match: async (count = 100) => {
    await match({ seed: 7, trials: count, print });
  },
  /** Breaks lines that safety rests on, one at a time: a test has to notice each. */
  mutations: async (count) => {
    const results = await mutations({ print, ...(count === undefined ? {} : { count }) });
    if (results.some(({ killedBy }) => killedBy === undefined)) process.exitCode = 1;
  },
  /** The published values that take too long for the checks of every day, at their listed tolerances. */
  listed: async () => {
    const files = ["displaced-measured", "fringes"].map((name) => `test/outside/${name}.test.ts`);
    const vitest = [
      "--bun",
      "vitest",
      "run",
      "--config",
      "vitest.outside.config.ts",
      "--reporter",
      "verbose",
    ];
    const env = { ...process.env, EVENFIELD_WHOLE_LIST: "yes" };
    const { status } = spawnSync(process.execPath, [...vitest, ...files], { stdio: "inherit", env });
    if (status !== 0) process.exitCode = 1;
  },
  executables: async () => {
    if (!executables({ seed, print })) process.exitCode = 1;
  },
  /** In virtual time; `kill` has real processes. */
  kills: async (count = 200) => {
    if (!(await kills({ seed, count, print }))) process.exitCode = 1;
  },
  /** The service and its device server, each killed so often; real processes. */
  "service-kills": async (count = 50) => {
    for (const victim of ["agent", "device server"] as const) {
      print(`Service: ${victim} killed by SIGKILL, seed ${seed}`);
      const results = await serviceKills({ seed, count, victim, print });
      const good = results.filter(({ wrong }) => wrong.length === 0).length;
      print(`  restored, resumed and nothing lost  ${good} of ${count}  (goal all)`);
      const sum = (of: "images" | "finished") => results.reduce((total, one) => total + one[of], 0);
      print(`  images ${sum("images")}, finished frames looked for ${sum("finished")}`);
      if (good < count) process.exitCode = 1;
    }
  },
  /** The command as it is, against a simulated rig in another process, at the speed of the real sky; ten minutes. */
  drill: async () => {
    if ((await drill(print)) !== 0) process.exitCode = 1;
  },
  kill: async (count = 50) => {
    const { restored, trials, wholeRunSeconds } = await kill(count, { seed, tell: print });
    print(`Kill -9: seed ${seed}, run of ${wholeRunSeconds.toFixed(0)} s`);
    for (const trial of trials.filter(({ differences }) => differences.length > 0)) {
      print(
        `  trial ${trial.trial}, killed after ${trial.killedAfterSeconds.toFixed(1)} s: ${trial.differences.join("; ")}`,
      );
    }
    print(`  baseline equal after restoring  ${restored} of ${trials.length}  (goal all)`);
  },
};

const words = process.argv.slice(2).filter((word) => word !== "--");
// Storms have options of their own; thousands of them take longer than all other campaigns.
if (words[0] === "storms") process.exit((await storms(words.slice(1), print)) ? 0 : 1);
const count = words.map(Number).find((number) => Number.isInteger(number) && number > 0);
const names = words.filter((word) => Number.isNaN(Number(word)));
const unknown = names.filter((name) => !(name in campaigns));
if (unknown.length > 0) {
  console.error(
    `no campaign is called ${unknown.join(", ")}; there are ${Object.keys(campaigns).join(", ")}`,
  );
  process.exit(2);
}
for (const name of names.length > 0 ? names : Object.keys(campaigns)) await campaigns[name]!(count);
