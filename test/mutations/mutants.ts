/** One line of the safety's code, broken. */
export interface Mutant {
  readonly file: string;
  /** Found exactly once in the file. */
  readonly from: string;
  readonly to: string;
  readonly why: string;
}

/** The room whose lines are broken → the tests that have to notice, dearest last. */
export const killers: readonly { readonly room: string; readonly tests: readonly string[] }[] = [
  {
    room: "agent/safing",
    tests: ["test/agent/safing", "test/agent/procedures/leave-rig.test.ts", "test/runs/safing.test.ts"],
  },
  {
    room: "agent/procedures",
    tests: [
      "test/agent/procedures/leave-rig.test.ts",
      "test/agent/procedures/run-step.test.ts",
      "test/agent/procedures/lost-filter.test.ts",
      "test/agent/procedures/tune-exposure",
      "test/agent/procedures/centre/centre.test.ts",
      "test/agent/procedures/leak-check",
      "test/runs/safing.test.ts",
    ],
  },
  { room: "agent/imaging/exposure", tests: ["test/agent/imaging/exposure", "test/runs/safing.test.ts"] },
  { room: "agent/run/guard", tests: ["test/agent/run/guard", "test/runs/run-machine.test.ts"] },
  { room: "agent/run/ledger", tests: ["test/agent/run/ledger", "test/runs/retreat-remembered.test.ts"] },
  { room: "agent/run/checks", tests: ["test/agent/run/checks", "test/runs/run-machine.test.ts"] },
  {
    room: "agent/run",
    tests: [
      "test/agent/run",
      "test/runs/run-machine.test.ts",
      "test/runs/killed-and-restored.test.ts",
      "test/runs/retreat-remembered.test.ts",
      "test/runs/open-to-the-sky.test.ts",
      "test/runs/safing.test.ts",
    ],
  },
  { room: "drivers", tests: ["test/drivers/safing", "test/drivers/scene-conformance.test.ts"] },
];

const safing = "agent/safing";
const restoring = "agent/run/restoring";
const guard = "agent/run/guard";
const machine = "agent/run/machine";

const mutant = (file: string, from: string, to: string, why: string): Mutant => ({ file, from, to, why });

export const mutants: readonly Mutant[] = [
  // Making safe
  mutant(
    `${safing}/make-safe.ts`,
    'void send("close the cover", cover?.sendClose(signal));',
    "",
    "the cover is asked before it is told to close",
  ),
  mutant(
    `${safing}/make-safe.ts`,
    'if (goal === "covered") return;\n    const mountSent',
    "return;\n    const mountSent",
    "the mount is not told to stop at once",
  ),
  mutant(
    `${safing}/make-safe.ts`,
    "const coverSecondsLeast = 20;",
    "const coverSecondsLeast = 2000;",
    "a stuck cover keeps the mount on the Sun",
  ),
  mutant(
    `${safing}/make-safe.ts`,
    "if (this.#covered.proved) return true;\n      this.#failed",
    "return true;\n      this.#failed",
    "a cover that is not proved closed is not tried again",
  ),
  mutant(
    `${safing}/make-safe.ts`,
    "const hopeSeconds = 1200;",
    "const hopeSeconds = 12;",
    "given up before the link is back",
  ),
  mutant(`${safing}/make-safe.ts`, "await this.#turnAway(mount, signal);", "", "the mount stays on the Sun"),
  mutant(
    `${safing}/make-safe.ts`,
    "this.#parksInstead = canChoose && !this.#parksInstead;",
    "",
    "a mount that can't be slewed is not parked",
  ),
  mutant(
    `${safing}/make-safe.ts`,
    "if (parked !== true && tracking) await mount.ensureTrackingOff(signal);",
    "",
    "the mount goes on tracking",
  ),
  mutant(
    `${safing}/make-safe.ts`,
    "this.#separationDegrees >= nearSunDegrees;",
    "true;",
    "off the Sun is taken for granted",
  ),
  mutant(
    `${safing}/make-safe.ts`,
    "if (parked !== true && this.#separationDegrees < nearSunDegrees) {",
    "if (this.#separationDegrees < 180) {",
    "a parked mount is slewed",
  ),
  mutant(
    `${safing}/make-safe.ts`,
    "if (!isSafe && now - warnedSeconds >= warnEverySeconds) {",
    "if (false) {",
    "nobody is warned",
  ),
  mutant(
    `${safing}/make-safe.ts`,
    "if (this.#covered.proved || !cover) return;",
    "return;",
    "a failed cover does not turn the mount away",
  ),
  // Proof
  mutant(
    `${safing}/prove-covered.ts`,
    'if (state !== "closed") return { proved: false, why: reads };',
    "",
    "any report counts as closed",
  ),
  mutant(
    `${safing}/prove-covered.ts`,
    "if (light?.onDisc && !isLit) {",
    "if (light?.onDisc) {",
    "a frame full of light counts as dark",
  ),
  mutant(
    `${safing}/prove-covered.ts`,
    "if (front.contradiction !== undefined) return { proved: false, why: front.contradiction };",
    "",
    "a report that was false is believed off the Sun",
  ),
  mutant(
    `${safing}/prove-covered.ts`,
    "export const openFraction = 0.2;",
    "export const openFraction = 20;",
    "an open cover is a leak",
  ),
  mutant(
    `${safing}/prove-covered.ts`,
    "return lightRate.diffuser;",
    "return lightRate.none;",
    "behind the diffuser the bare Sun's light is expected",
  ),
  // The one door
  mutant(
    `${safing}/uncover.ts`,
    "...(await tools.whyKeepCovered(signal)),",
    "",
    "uncovered whatever speaks against it",
  ),
  mutant(`${safing}/uncover.ts`, ", ...(await placeReasons(tools, signal))]", "]", "uncovered anywhere"),
  mutant(
    `${safing}/uncover.ts`,
    "if (cover && !wasOpen && !front.covered.proved) reasons.push(front.covered.why);",
    "",
    "uncovered though it was not proved covered",
  ),
  mutant(
    "agent/procedures/run-step.ts",
    "noteUnsafe?.(failure);",
    "",
    "why a step is unsafe is written down only once it has made safe",
  ),
  mutant(
    `${safing}/uncover.ts`,
    "if (!(error instanceof DeviceLostError))",
    "if (false)",
    "a cover that did not open is believed when it says that it is closed",
  ),
  mutant(`${safing}/uncover.ts`, "front.expectedClosed = false;", "", "the opened cover counts as closed"),
  // Off the Sun
  mutant(
    `${safing}/off-sun.ts`,
    "const retreatDegrees = 30;",
    "const retreatDegrees = 3;",
    "the retreat stays near the Sun",
  ),
  mutant(
    `${safing}/off-sun.ts`,
    "site.latitudeDegrees >= 0 ? retreatDegrees : -retreatDegrees",
    "site.latitudeDegrees >= 0 ? -retreatDegrees : retreatDegrees",
    "the retreat goes towards the horizon",
  ),
  mutant(
    `${safing}/off-sun.ts`,
    "if (separationDegrees({ raHours, decDegrees }, sun) < nearSunDegrees) return false;",
    "",
    "a way across the Sun counts as off it",
  ),
  mutant(
    `${safing}/off-sun.ts`,
    "const sunsetDegrees = -1;",
    "const sunsetDegrees = 30;",
    "the Sun is down by day",
  ),
  // Moves behind the cover
  mutant(
    `${safing}/while-covered.ts`,
    'if (own.signal.aborted || (state !== "open" && state !== "moving")) continue;',
    "continue;",
    "a cover that opens in a slew is not noticed",
  ),
  mutant(
    `${safing}/cover-front.ts`,
    "if (covered.proved) return;",
    "return;",
    "a step goes on over an open front",
  ),
  // Procedures
  mutant(
    "agent/procedures/leave-rig.ts",
    '(cover === "closed" ? coverFront(bench, signal) : undefined)',
    "undefined",
    "a step leaves the front open",
  ),
  mutant(
    "agent/procedures/leave-rig.ts",
    'cover === "closed" && failed ? undefined',
    "undefined as never ? undefined",
    "the diffuser goes out before an open front",
  ),
  mutant(
    "agent/procedures/run-step.ts",
    'ended = "unsafe";',
    'ended = "failed";',
    "a front that could not be covered is a failed step",
  ),
  mutant(
    "agent/procedures/run-step.ts",
    'if (isUnsafe(failure) || (failure instanceof StepError && failure.unsafe !== false)) return "unsafe";',
    "",
    "an unsafe step does not retreat",
  ),
  mutant(
    "agent/procedures/lost-filter.ts",
    "if (clippedCount <= clippedOfLitMax * litCount) return;",
    "return;",
    "a lost filter is not seen in a series",
  ),
  mutant(
    "agent/procedures/tune-exposure/tune-work.ts",
    "checkFilterStillOn(frame, reading.topAdu);",
    "{}",
    "a lost filter is tuned away",
  ),
  mutant(
    "agent/procedures/leak-check/leak-work.ts",
    "if (report.found && leakFraction > openFraction) {",
    "if (false) {",
    "an open cover ends as a bad verdict",
  ),
  mutant(
    "agent/procedures/centre/prepare.ts",
    "if (fraction < openFraction) return;",
    "return;",
    "covered frames full of light are not looked at",
  ),
  mutant(
    "agent/procedures/centre/frame-taker.ts",
    "if (clipped > 0.5 &&",
    "if (false &&",
    "a first light that clips is no alarm",
  ),
  mutant(
    "agent/imaging/exposure/tune.ts",
    "if (rate >= alarmTimes * bareSunAduPerSecond)",
    "if (false)",
    "a filter lost behind the diffuser is tuned away",
  ),
  mutant(
    "agent/imaging/exposure/tune.ts",
    "if (clearestAduPerSecond !== undefined && rate >= alarmTimes * clearestAduPerSecond)",
    "if (false)",
    "no alarm by the rig's history",
  ),
  // Restoring
  mutant(
    `${restoring}/restore.ts`,
    "if (settings.length > 0) await round.makeSafe();",
    "",
    "restoring begins without making safe",
  ),
  mutant(
    `${restoring}/restore.ts`,
    'retreatedBecause.length > 0 ? "covered and off the Sun" : "covered"',
    '"covered"',
    "after a retreat the mount is not looked at",
  ),
  mutant(
    `${restoring}/restore.ts`,
    'if (why !== undefined) return { leave: "as it is", why };',
    "",
    "the telescope is moved though it is not covered",
  ),
  mutant(
    `${restoring}/restore.ts`,
    "if (isOpenCover(entry)) return this.#uncover(device, entry);",
    "",
    "restoring opens the cover past the one door",
  ),
  mutant(
    `${restoring}/restore.ts`,
    'if (isOpenCover(entry) && !this.behindCover.every((one) => this.records.get(one)?.state === "same"))',
    "if (false)",
    "the cover opens though the rest is not back",
  ),
  mutant(
    `${restoring}/why-stay.ts`,
    "if (against.length === 0) return undefined;",
    "return undefined;",
    "a rig without a cover is carried back after a retreat",
  ),
  mutant(
    `${restoring}/why-stay.ts`,
    'if (key !== "pointing" || !Array.isArray(value)) return stays;',
    'if (key !== "pointing" || !Array.isArray(value)) return undefined;',
    "an open telescope is parked across the sky",
  ),
  mutant(
    `${restoring}/cover-policy.ts`,
    "if (retreatedBecause.length > 0) return",
    "if (false) return",
    "the reason of the retreat is forgotten",
  ),
  mutant(
    `${restoring}/cover-policy.ts`,
    "return off > nearSunDegrees ? [] : [doubt];",
    "return [];",
    "near the Sun with a statement that ran out",
  ),
  mutant(
    `${restoring}/restore-setting.ts`,
    "tries = pausesSeconds.length + 1,",
    "tries = 1,",
    "one try instead of three",
  ),
  mutant(
    `${restoring}/recover.ts`,
    "if (liar) front.contradiction = liar.reason;",
    "",
    "what was known against the cover is forgotten by the next process",
  ),
  mutant(
    `${restoring}/recover.ts`,
    "return isConfirmedSince(one, rigFile) ? [] : [tripProblem(one)];",
    "return [];",
    "a trip on brightness is forgotten by the next process",
  ),
  // Guard
  mutant(
    `${guard}/guard.ts`,
    "await Promise.all(watches.map(keepWatch));",
    "await Promise.race(watches.map(keepWatch));",
    "the watch over the others ends with the first",
  ),
  mutant(
    `${guard}/guard-watches.ts`,
    'if (!isProvedClosed() || (state !== "open" && state !== "moving")) return undefined;',
    "return undefined;",
    "a cover opened by another is not noticed",
  ),
  mutant(
    `${guard}/guard-watches.ts`,
    "if (altitudeDegrees >= sunAltitudeDegreesMin) return undefined;",
    "return undefined;",
    "the Sun may sink",
  ),
  mutant(
    `${guard}/guard-watches.ts`,
    'return safety === "unsafe" ? words : undefined;',
    "return undefined;",
    "rain is not noticed",
  ),
  mutant(
    `${guard}/guard-watches.ts`,
    "check: async () => (looking() ? filterProblem(rigFile.sunFilter, clock.nowMs()) : undefined),",
    "check: async () => undefined,",
    "the statement runs out unnoticed",
  ),
  mutant(
    `${guard}/why-keep-covered.ts`,
    "if (doubt !== undefined) reasons.push(doubt);",
    "",
    "uncovered with a statement that ran out",
  ),
  mutant(
    `${guard}/why-keep-covered.ts`,
    'if (guardSilentSeconds === undefined) reasons.push("the guard does not watch");',
    "if (guardSilentSeconds === undefined) {}",
    "uncovered with nobody watching",
  ),
  mutant(
    `${guard}/why-keep-covered.ts`,
    "if (roundTripSeconds <= roundTripSecondsMax) return undefined;",
    "return undefined;",
    "uncovered over a link too slow for a retreat",
  ),
  mutant(
    `${guard}/sun-filter.ts`,
    "if (ageDays <= statement.confirmAgainAfterDays) return undefined;",
    "return undefined;",
    "a statement never runs out",
  ),
  mutant(
    `${guard}/clock-watch.ts`,
    "if (Math.abs(stepSeconds) > stepSecondsMax) {",
    "if (false) {",
    "a step of the clock is not noticed",
  ),
  mutant(
    `${guard}/pointing-watches.ts`,
    "graceSeconds: offSunGraceSeconds,",
    "graceSeconds: 36_000,",
    "tracking may be lost for hours",
  ),
  mutant(
    `${guard}/condition.ts`,
    "return this.#silenceLeft <= 0 ? reason : undefined;",
    "return undefined;",
    "silence never counts",
  ),
  // The run
  mutant(
    `${machine}/run-machine.ts`,
    "const skyGraceSeconds = 30;",
    "const skyGraceSeconds = 30_000;",
    "a step that hangs keeps the rig open",
  ),
  mutant(
    `${machine}/run-machine.ts`,
    "context.effects.coverAtOnce();",
    "",
    "the cover waits for the step to settle",
  ),
  mutant(
    `${machine}/run-machine.ts`,
    '{ guard: "mustRetreat", target: "#run.retreating" },',
    "",
    "an unsafe step goes straight to restoring",
  ),
  mutant(
    "agent/run/ledger/ledger.ts",
    'database.run("pragma synchronous = full");',
    "",
    "a promised baseline may be lost with the power",
  ),
  mutant(
    "agent/run/ledger/retreats.ts",
    "lastConfirmed !== retreat.lastConfirmed && dayOrTimeUtcMs(lastConfirmed) > retreat.utcMs",
    "true",
    "any statement confirms a filter that came off",
  ),
  mutant(
    "agent/run/record/run-facts.ts",
    'this.#noteRetreat(ofWeather ? "weather" : "other", reason);',
    "",
    "why the rig retreated is not on disk",
  ),
];
