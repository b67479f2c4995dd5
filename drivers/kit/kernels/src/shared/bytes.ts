/** Bytes of each pair the other way round. */
export function reverse2(v: v128): v128 {
  return v128.shuffle<i8>(v, v, 1, 0, 3, 2, 5, 4, 7, 6, 9, 8, 11, 10, 13, 12, 15, 14);
}

/** Of each four. */
export function reverse4(v: v128): v128 {
  return v128.shuffle<i8>(v, v, 3, 2, 1, 0, 7, 6, 5, 4, 11, 10, 9, 8, 15, 14, 13, 12);
}
