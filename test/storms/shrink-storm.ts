import { playStorm, type StormPlayed } from "./play-storm.ts";
import type { Storm } from "./storm.ts";

/** Simpler storms, the most welcome first. */
function simpler(storm: Storm): Storm[] {
  const { faults, rig, found, plan } = storm;
  const withFault = (index: number, change: Partial<(typeof faults)[number]>) => ({
    ...storm,
    faults: faults.map((fault, i) => (i === index ? { ...fault, ...change } : fault)),
  });
  const withRig = (change: Partial<typeof rig>) => ({ ...storm, rig: { ...rig, ...change } });
  const { sinksAfterSeconds, ...byDay } = storm;
  const withFound = (change: Partial<typeof found>) => ({ ...storm, found: { ...found, ...change } });
  return [
    ...faults.map((_, index) => ({ ...storm, faults: faults.toSpliced(index, 1) })),
    ...(plan === "images" || plan === "centre" ? [] : [{ ...storm, plan: "images" as const }]),
    ...(plan === "centre" ? [] : [{ ...storm, plan: "centre" as const }]),
    ...(rig.byHand.length > 0 ? [withRig({ byHand: [] })] : []),
    ...(rig.protocol === "indi" ? [] : [withRig({ protocol: "indi" })]),
    ...(rig.protocol === "indi" || rig.protocol === "alpaca" ? [] : [withRig({ protocol: "alpaca" })]),
    ...(rig.without.length > 0 ? [withRig({ without: [] })] : []),
    ...(sinksAfterSeconds === undefined ? [] : [byDay]),
    ...(found.diffuserIn ? [withFound({ diffuserIn: false })] : []),
    ...(found.domeOpen ? [] : [withFound({ domeOpen: true })]),
    ...(found.cover === "closed" ? [] : [withFound({ cover: "closed" })]),
    ...(found.pointing === "parked" ? [] : [withFound({ pointing: "parked" })]),
    ...faults.flatMap(({ forSeconds }, index) =>
      forSeconds === undefined ? [] : [withFault(index, { forSeconds: undefined as never })],
    ),
    ...faults.flatMap(({ when }, index) =>
      when.afterSeconds === 1 ? [] : [withFault(index, { when: { ...when, afterSeconds: 1 } })],
    ),
    ...faults.flatMap(({ when }, index) =>
      when.nth === 1 ? [] : [withFault(index, { when: { ...when, nth: 1 } })],
    ),
  ];
}

/**
 * The simplest storm found that still fails: fewest faults, simplest rig.
 * @param fails which failure it has to keep
 * @param playsMost how many storms may be played for it
 */
export async function shrinkStorm(
  storm: Storm,
  fails: (played: StormPlayed) => boolean,
  playsMost = 40,
): Promise<Storm> {
  let plays = 0;
  const stillFails = async (candidate: Storm) => {
    plays++;
    return fails(await playStorm(candidate));
  };
  let best = storm;
  for (let isDone = false; !isDone; ) {
    isDone = true;
    for (const candidate of simpler(best)) {
      if (plays >= playsMost) return best;
      if (!(await stillFails(candidate))) continue;
      best = candidate;
      isDone = false;
      break;
    }
  }
  return best;
}

/** Whether a violation of that class was found. */
export const violates =
  (violationClass: string) =>
  ({ violations }: StormPlayed): boolean =>
    violations.some((one) => one.class === violationClass);
