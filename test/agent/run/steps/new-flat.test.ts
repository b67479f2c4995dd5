import { expect, test } from "vitest";
import type { AgendaEntry } from "../../../../agent/run/steps/agenda.ts";
import { newFlatSteps } from "../../../../agent/run/steps/agenda.ts";
import { newFlatRefusal } from "../../../../agent/run/steps/new-flat.ts";
import { readPlan } from "../../../../plans/plan-file.ts";
import { readRigFile } from "../../../../plans/rig-file.ts";
import { forenoonUtcMs, testRigText } from "../fake-run.ts";
import { fakeTable } from "../fake-steps.ts";

const planText = `plan: all-day
sun: { altitudeDegreesMin: 20 }
steps:
  - centre
  - leak-check
  - flat: { blur: diffuser, frames: 10, onlyWhenNoneFits: true, onFailure: continue }
  - images: { frames: 8, whenFlatMoved: new-flat }
  - wait: { minutes: 1 }
`;

const agendaOf = (text: string): AgendaEntry[] => readPlan(text, "plan.yaml").steps.map((step) => ({ step }));
const asked = { wants: "new flat", because: "it slipped", rest: { taken: 3 } } as const;

function why(given: { nowUtcMs?: number; most?: number; agenda?: AgendaEntry[]; text?: string }) {
  const plan = readPlan(given.text ?? planText, "plan.yaml");
  return newFlatRefusal({
    table: fakeTable({}), // a minute for every step
    scene: { plan, rigFile: readRigFile(testRigText, "rig.yaml"), findings: { lightRate: {} } },
    agenda: given.agenda ?? agendaOf(given.text ?? planText),
    stepIndex: 3,
    newFlatsMost: given.most ?? 2,
    startedUtcMs: forenoonUtcMs,
    nowUtcMs: given.nowUtcMs ?? forenoonUtcMs,
  });
}

test("a forenoon with the Sun high and time enough: a new flat may be taken", () => {
  expect(why({})).toBeUndefined();
});

test("towards evening the Sun would be too low before the images are done", () => {
  // At that site on that day the Sun goes below 20 degrees at about 17:56.
  const reasons = [17, 18].map((hour) => why({ nowUtcMs: Date.UTC(2026, 5, 20, hour, 30) }));
  expect(reasons[0]).toBeUndefined();
  expect(reasons[1]).toMatch(
    /^the Sun will be \d+\.\d° high, below the limit of 20°, within the 4 minutes that a new flat and the rest/,
  );
});

test("the planned minutes hold for new flats too", () => {
  const text = planText.replace("20 }", "20, plannedMinutes: 10 }");
  expect(why({ text, nowUtcMs: forenoonUtcMs + 5 * 60_000 })).toBeUndefined();
  expect(why({ text, nowUtcMs: forenoonUtcMs + 7 * 60_000 })).toContain("more than is left of the 10");
});

test("the plan's own leak check and flat are put in behind the images, then what is left of these; and counted", () => {
  const agenda = agendaOf(planText);
  const putIn = newFlatSteps(agenda, 3, asked);
  expect(putIn.map(({ step, because }) => [step.step, because])).toEqual([
    ["leak-check", "it slipped"],
    ["flat", "it slipped"],
    ["images", "after the new flat"],
  ]);
  // Word for word, but for the look at kept flats: what moved is known.
  expect(putIn[1]!.step).toEqual({ ...agenda[2]!.step, onlyWhenNoneFits: false });
  expect(putIn[2]).toMatchObject({ step: agenda[3]!.step, resumeWith: { taken: 3 } });
  agenda.splice(4, 0, ...putIn);
  expect(why({ agenda, most: 1 })).toBe("1 new flat was taken in this run, as many as the plan allows");
  expect(why({ agenda, most: 2 })).toBeUndefined();
});

test("a flat by drift needs no leak check; images before any flat get the one that comes later", () => {
  const drift = agendaOf(`plan: drift
steps:
  - centre
  - images: { frames: 8, whenFlatMoved: new-flat }
  - flat: { blur: drift, frames: 30 }
`);
  expect(newFlatSteps(drift, 1, asked).map(({ step }) => step.step)).toEqual(["flat", "images"]);
});

test("a plan that wants new flats says how they are taken", () => {
  const text = "plan: p\nsteps:\n  - centre\n  - images: { frames: 8, whenFlatMoved: new-flat }\n";
  expect(() => readPlan(text, "p.yaml")).toThrow(/does not say how a flat is taken/);
  const drift =
    "plan: p\nsteps:\n  - centre\n  - flat: { blur: drift, frames: 30, onlyWhenNoneFits: true }\n";
  expect(() => readPlan(drift, "p.yaml")).toThrow(/told by frames through the diffuser/);
});
