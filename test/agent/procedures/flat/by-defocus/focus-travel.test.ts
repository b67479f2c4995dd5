import { expect, test } from "vitest";
import {
  approachPosition,
  longerTravel,
} from "../../../../../agent/procedures/flat/by-defocus/focus-travel.ts";
import type { Focuser } from "../../../../../drivers/roles/focuser.ts";

const signal = new AbortController().signal;

function focuserAt(start: number) {
  const moves: number[] = [];
  let at = start;
  const focuser = {
    limits: { positionSteps: { min: 0, max: 10_000 } },
    positionSteps: async () => at,
    moveTo: async (to: number) => {
      at = to;
      moves.push(to);
    },
  } as unknown as Focuser;
  return { focuser, moves };
}

test("arrives from below whether it comes from above or below", async () => {
  const high = focuserAt(9000);
  await approachPosition("below", high.focuser, 5000, signal);
  expect(high.moves).toEqual([4900, 5000]);
  const low = focuserAt(1000);
  await approachPosition("below", low.focuser, 5000, signal);
  expect(low.moves).toEqual([5000]);
});

test("arrives from above the same way, and takes up the play when it stands near by", async () => {
  const low = focuserAt(1000);
  await approachPosition("above", low.focuser, 5000, signal);
  expect(low.moves).toEqual([5100, 5000]);
  const near = focuserAt(5010);
  await approachPosition("above", near.focuser, 5000, signal);
  expect(near.moves).toEqual([5100, 5000]);
});

test("at the end of the travel it comes from as far as there is room", async () => {
  const { focuser, moves } = focuserAt(9000);
  await approachPosition("below", focuser, 40, signal);
  expect(moves).toEqual([0, 40]);
});

test("the side with more travel, down as well as up", () => {
  expect(longerTravel(3000, { min: 0, max: 10_000 })).toEqual({ side: 1, steps: 7000 });
  expect(longerTravel(8000, { min: 0, max: 10_000 })).toEqual({ side: -1, steps: 8000 });
});
