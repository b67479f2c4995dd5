import { extinctionRatio } from "../sky/air-mass.ts";
import type { LightRate, StepFindings } from "./findings.ts";

export type Blur = keyof StepFindings["lightRate"];

/** Upper edge per second that this rate comes to with the Sun at that altitude, under the same sky. */
export function rateAtAltitude(rate: LightRate, altitudeDegrees: number): number {
  return rate.edgeAduPerSecond / extinctionRatio(rate.sunAltitudeDegrees, altitudeDegrees);
}

/**
 * Of several measurements the one through the clearest sky. Cloud only ever dims, so it alone says how bright the light
 * may be: against one that was taken through cloud a clear sky would look like a lost filter.
 * @returns `undefined` of none
 */
export function clearestOf(rates: readonly LightRate[]): LightRate | undefined {
  return rates.reduce<LightRate | undefined>(
    (best, rate) => (best && rateAtAltitude(best, 90) >= rateAtAltitude(rate, 90) ? best : rate),
    undefined,
  );
}

/** Puts a rate where later steps and runs find it. Another gain is another history. */
export function noteLightRate(findings: StepFindings, blur: Blur, rate: LightRate): void {
  findings.lightRate[blur] = rate;
  const before = findings.clearestRate?.[blur];
  const clearest = before?.gain === rate.gain ? clearestOf([before, rate]) : rate;
  findings.clearestRate = { ...findings.clearestRate, [blur]: clearest };
}
