/** How it is known that the telescope is covered. */
type Evidence = "a dark frame" | "the cover's report" | "a person's word";

/**
 * Whether the telescope is covered. Every move of mount and dome near the Sun asks for it. `unseen`: a frame should have
 * shown it, and why it could not.
 */
export type Covered =
  | { readonly proved: true; readonly by: Evidence; readonly unseen?: string }
  | { readonly proved: false; readonly why: string };

/** What is known of the telescope's front: one object for a run, changed only by who covers and uncovers. */
export interface Front {
  covered: Covered;
  /** It was closed by us and not opened since: whatever else it reads is news. */
  expectedClosed: boolean;
  /** What a frame showed against the cover's report; gone with the next dark frame at the Sun. */
  contradiction?: string;
  /** Why a frame that should have shown it could not be taken; gone with the next dark frame at the Sun. */
  unseen?: string;
  /** The cover did not do what it was told; gone with the next dark frame at the Sun. */
  disobeyed?: string;
  /** A step has found it unsafe to look: whoever makes safe turns the mount away at once. */
  turnAway?: boolean;
  /** How long the cover took last, either way [s]. */
  travelSeconds?: number;
}

export function newFront(): Front {
  return { covered: { proved: false, why: "it has not been closed yet" }, expectedClosed: false };
}

/** A frame is full of light that comes past the cover: whatever the cover says, it is open. */
export function contradictCover(front: Front, why: string): void {
  front.contradiction = why;
  front.covered = { proved: false, why };
}

/** For the last words of a run. */
export function describeCovered(covered: Covered): string {
  if (!covered.proved) return `not proved to be covered: ${covered.why}`;
  if (covered.unseen !== undefined)
    return `not proved to be covered by more than ${covered.by}: ${covered.unseen}`;
  return covered.by === "a person's word" ? "covered, as you said" : `covered, by ${covered.by}`;
}
