/** Where the tail begins, for 128 layers (Marsaglia & Tsang 2000). */
export const TAIL_START = 3.442619855899;
const LAYER_AREA = 9.91256303526217e-3;

/** Right edges of the layers of equal area under exp(-x²/2), outermost first, and each over the one outside it. */
export const gaussTable = makeTable();

function makeTable(): { readonly edge: Float64Array; readonly ratio: Float64Array } {
  const edge = new Float64Array(129);
  const ratio = new Float64Array(128);
  let height = Math.exp(-0.5 * TAIL_START * TAIL_START);
  edge[0] = LAYER_AREA / height;
  edge[1] = TAIL_START;
  for (let i = 2; i < 128; i++) {
    edge[i] = Math.sqrt(-2 * Math.log(LAYER_AREA / edge[i - 1]! + height));
    height = Math.exp(-0.5 * edge[i]! * edge[i]!);
  }
  edge[128] = 0;
  for (let i = 0; i < 128; i++) ratio[i] = edge[i + 1]! / edge[i]!;
  return { edge, ratio };
}
