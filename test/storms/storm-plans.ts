/** Five hundredths of the disc are two pixels. */
const centre = "- centre: { toleranceFraction: 0.05 }";

/** Short plans: everything that can be uncovered, slewed and put back, in as few frames as the plan's schema allows. */
export const stormPlans = {
  centre,
  images: `${centre}\n  - images: { frames: 2, testFrames: 0 }`,
  waits: `${centre}\n  - wait: { minutes: 2 }\n  - images: { frames: 1, testFrames: 0 }`,
  flat: `${centre}\n  - leak-check: { frames: 4 }\n  - flat: { blur: diffuser, frames: 4, darkFrames: 4 }`,
  darks: "- darks: { frames: 4, exposureSeconds: 1 }",
} as const;

export type PlanName = keyof typeof stormPlans;

export function planText(name: PlanName): string {
  return `plan: ${name}\nsun: { altitudeDegreesMin: 20 }\nsteps:\n  ${stormPlans[name]}\n`;
}
