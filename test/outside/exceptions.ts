/** Why a listed value is not compared at its listed tolerance, and at which it is; without one it is not compared. */
export interface Exception {
  readonly because: string;
  /** In the value's own unit. */
  readonly within?: number;
  /** A share of the value. */
  readonly withinShare?: number;
}

const truncated =
  "the library's series are cut short: 1e-5 au is 0.01 arcsec of the Sun's size, which nothing here needs";
const noSuchFit =
  "the fit is not built: the limb is fitted by least squares of distances, begun from Taubin's circle; circle.test.ts shows that the listed circle lies farther from the points. Begun from Kasa's or Pratt's circle they end in the same one, in 2798 of 2800 random arcs of 3 to 360 degrees";
const noSuchMethod =
  "the method is not built: `combine` offers mean, median, displaced, and clipping about the median, which leaves out the one value of the ten that a trimmed or winsorised mean leaves out or holds back";
const scenes =
  "the list's own tolerance is a target for the solver, which displaced-measured.test.ts holds; these are figures of other scenes of the kind";

/**
 * The only place where a listed tolerance is widened or a listed value left out. Named by the check's id, and by the path
 * of the value or the beginning of it. One that is not needed fails the tests.
 */
export const exceptions: Readonly<Record<string, Exception>> = {
  "sun.spa.geocentric distanceAu": { within: 1e-5, because: truncated },
  "sun.spa.events utcOffsetHours": { because: "belongs to the example's inputs; no result" },
  "sun.meeus.25a apparentLongitudeDms": {
    within: 0.5 / 3600,
    because: "printed in whole arc seconds, which are coarser than the tolerance",
  },
  "sun.meeus.25b distanceAu": { within: 1e-5, because: `no tolerance is listed; ${truncated}` },
  "sun.semidiameter.2013-06-17 distanceAu": { within: 1e-5, because: `no tolerance is listed; ${truncated}` },
  "sun.meeus.29a L0Deg": {
    within: 0.012,
    because:
      "at the example's instant (its UT and 59 s) the modern rotation elements of the Sun give 238.619, the book's classical series 238.63",
  },
  "refraction.meeus refractionArcmin": {
    within: 0.1,
    because:
      "from the airless altitude by Saemundsson's formula, which its author gives as within 0.1 arcmin of Bennett's; the product is never told an apparent altitude",
  },
  "circle.gander.algebraic": { because: noSuchFit },
  "circle.kasa": { because: noSuchFit },
  "circle.pratt": { because: noSuchFit },
  "circle.arc60 kasa": { because: noSuchFit },
  "circle.arc60 pratt": { because: noSuchFit },
  "circle.full kasa": { because: noSuchFit },
  "exposure.secant bracketedMs": {
    because:
      "a clipped frame is left in larger steps (decision 0030); exposure.test.ts shows that the end is the same, in fewer frames",
  },
  "combine.ten trimmedMean10": { because: noSuchMethod },
  "combine.ten winsorizedMean10": { because: noSuchMethod },
  "combine.ten iteratedWinsorSigma": { because: noSuchMethod },
  "combine.scale leastSquares": {
    because:
      "not built: it would gain nothing. Of a flat with 0.5 % noise least squares over 50 000 pixels tell a frame's scale to 21 ppm, the median ratio over them to 28, the median over blocks of pixels, which live masters use, to 13; and one odd pixel does not pull a median",
  },
  "match.shift ncc.2": {
    within: 0.04,
    because:
      "the list's filters are one-sided at the frame's border, where vignetting passes them and does not go along with the dust; here vignetting is taken off first, and the same dust agrees to 0.992",
  },
  "displaced.tiny alsRmsNoPlane.1000": {
    within: 2e-6,
    because:
      "frames are kept in steps of 1e-4, here on values ten times as large: no more can be told from seven of them",
  },
  "displaced.degeneracy statement": {
    because: "a sentence; displaced.test.ts holds what it says to the listed 1e-12",
  },
  "displaced.S iterationsPerEfold": {
    withinShare: 0.06,
    because: "printed with one decimal, which is coarser than the tolerance",
  },
  "displaced.measured plainAveragePercent": { withinShare: 0.2, because: scenes },
  "displaced.measured solvedPercent.0.0": {
    withinShare: 0.25,
    because: `${scenes}; of ten frames at the smallest reach ours is the better, 0.45 % for the listed 0.56`,
  },
  "displaced.measured solvedPercent": { withinShare: 0.2, because: scenes },
  "displaced.measured floorPercent": { withinShare: 0.1, because: scenes },
};
