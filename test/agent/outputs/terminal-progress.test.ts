import { expect, test } from "vitest";
import { spanText, terminalProgress } from "../../../agent/outputs/terminal-progress.ts";

const at = (done: number, secondsLeft?: number) => ({
  stepCount: 4,
  stepIndex: 1,
  what: "flat frames",
  done,
  of: 40,
  ...(secondsLeft === undefined ? {} : { secondsLeft }),
});

test("on a terminal one line redraws itself and a message stands above it", () => {
  const out: string[] = [];
  const progress = terminalProgress({ live: true, stderr: (text) => out.push(text) });
  progress.update(at(10, 75));
  progress.say("cloud");
  progress.end();
  expect(out[0]).toContain("[2/4] ■■■■■■··················  10/40  flat frames  about 75 s left");
  expect(out.slice(1)).toEqual(["\r\u001b[2K", "cloud\n"]);
});

test("in a log file a line comes with each tenth of the work, not with each frame", () => {
  const out: string[] = [];
  const progress = terminalProgress({ live: false, stderr: (text) => out.push(text) });
  for (let done = 0; done <= 40; done++) progress.update(at(done));
  expect(out).toHaveLength(11);
  expect(out.at(-1)).toContain("40/40");
});

test("spans read as a person would say them", () => {
  expect([spanText(-3), spanText(42.4), spanText(99.6), spanText(3599)]).toEqual([
    "0 s",
    "42 s",
    "1:40 min",
    "59:59 min",
  ]);
});
