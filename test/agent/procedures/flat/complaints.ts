import type { Proof } from "../../../../agent/imaging/proof/proof.ts";

/** Figures that keep a flat from being good. */
export function complaintsOf({ figures }: Pick<Proof, "figures">): string[] {
  return figures.filter(({ verdict }) => verdict !== "good").map(({ id }) => id);
}

/** Of a flat whose light nobody was asked to prove and that is good but for that. */
export const onlyUnproved = ["lightSeen"];
