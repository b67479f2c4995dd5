import { describe, expect, test } from "vitest";
import { distanceArcsec } from "../../../../agent/procedures/centre/aim.ts";
import {
  nextSearchPlace,
  type SeenPlace,
  searchPlaces,
  searchStepArcsec,
} from "../../../../agent/procedures/centre/search-places.ts";
import { Random } from "../../../../drivers/kit/random.ts";

const radius = 960;

describe("the widening search", () => {
  test("no disc slips through between the places, for frames from a tenth to three discs (seed 9)", () => {
    const random = new Random(9);
    for (const frameArcsec of [200, 600, 2000, 6000]) {
      const step = searchStepArcsec(radius, frameArcsec);
      const places = searchPlaces(step, 7200 + step);
      for (let i = 0; i < 300; i++) {
        const sun = { eastArcsec: random.between(-5000, 5000), northArcsec: random.between(-5000, 5000) };
        const nearest = Math.min(...places.map((place) => distanceArcsec(place, sun)));
        expect(nearest).toBeLessThan(radius + 0.45 * frameArcsec);
      }
    }
  });

  test("begins at the expected place, widens, and stays within the bound", () => {
    const places = searchPlaces(1200, 7200);
    expect(distanceArcsec(places[0]!, { eastArcsec: 0, northArcsec: 0 })).toBe(0);
    const reach = places.map((place) => Math.hypot(place.eastArcsec, place.northArcsec));
    expect(reach).toEqual([...reach].sort((a, b) => a - b));
    expect(reach.at(-1)).toBeLessThanOrEqual(7200);
    expect(new Set(places.map((place) => `${place.eastArcsec} ${place.northArcsec}`)).size).toBe(
      places.length,
    );
  });

  test("in darkness every place is looked at once, nearest first", () => {
    const places = searchPlaces(1200, 3000);
    const seen: SeenPlace[] = [];
    for (
      let place = nextSearchPlace(places, seen, 1200);
      place;
      place = nextSearchPlace(places, seen, 1200)
    ) {
      expect(place).toBe(places[seen.length]);
      seen.push({ ...place, rateAduPerSecond: 5, lit: false });
    }
    expect(seen.length).toBe(places.length);
  });

  test("the glow round the Sun leads there in far fewer looks", () => {
    const places = searchPlaces(1200, 7200);
    const sun = { eastArcsec: 4300, northArcsec: -3700 };
    const seen: SeenPlace[] = [];
    let place = nextSearchPlace(places, seen, 1200)!;
    while (distanceArcsec(place, sun) > 1000 && seen.length < places.length) {
      seen.push({ ...place, rateAduPerSecond: 1000 * 2 ** (-distanceArcsec(place, sun) / 900), lit: true });
      place = nextSearchPlace(places, seen, 1200)!;
    }
    expect(distanceArcsec(place, sun)).toBeLessThan(1000);
    expect(seen.length).toBeLessThan(15);
    expect(places.findIndex((one) => distanceArcsec(one, sun) < 1000)).toBeGreaterThan(50);
  });
});
