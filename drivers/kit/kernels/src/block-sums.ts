// Sums of pixels over cells of 8 columns, four to a block, row after row: see agent/imaging/combining/block-sample.ts.

/**
 * Adds a row's pixels to the sums of its cells.
 * @param row u16, 32 for each block, 64 bytes
 * @param use u16, all bits where a pixel counts; 0: all count
 * @param sums four u32 a cell, to be added up at the end
 */
export function addRow(row: usize, use: usize, blocks: i32, sums: usize): void {
  const end = row + ((<usize>blocks) << 6);
  for (; row < end; row += 64) {
    let a = v128.load(row),
      b = v128.load(row, 16),
      c = v128.load(row, 32),
      d = v128.load(row, 48);
    if (use !== 0) {
      a = v128.and(a, v128.load(use));
      b = v128.and(b, v128.load(use, 16));
      c = v128.and(c, v128.load(use, 32));
      d = v128.and(d, v128.load(use, 48));
      use += 64;
    }
    v128.store(sums, i32x4.add(v128.load(sums), i32x4.extadd_pairwise_i16x8_u(a)));
    v128.store(sums, i32x4.add(v128.load(sums, 16), i32x4.extadd_pairwise_i16x8_u(b)), 16);
    v128.store(sums, i32x4.add(v128.load(sums, 32), i32x4.extadd_pairwise_i16x8_u(c)), 32);
    v128.store(sums, i32x4.add(v128.load(sums, 48), i32x4.extadd_pairwise_i16x8_u(d)), 48);
    sums += 64;
  }
}
