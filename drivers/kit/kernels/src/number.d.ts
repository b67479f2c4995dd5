/** AssemblyScript's own types have it as an alias, which the compiler of everything else does not take for its global type. */
interface Number {
  toString(radix?: i32): string;
}
