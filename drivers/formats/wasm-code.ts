/**
 * Words of the WebAssembly binary format, for the small modules that are assembled here so that no build step is needed.
 * Source: WebAssembly Core Specification 3.0, chapter 5 (binary format).
 */
export const wasmHead = [0x00, 0x61, 0x73, 0x6d, 0x01, 0x00, 0x00, 0x00]; // magic, version

export const section = (id: number, ...content: number[]) => [id, ...unsigned(content.length), ...content];
export const name = (text: string) => [text.length, ...Buffer.from(text)];
export const codeSection = (bodies: readonly (readonly number[])[]) =>
  section(10, bodies.length, ...bodies.flatMap((body) => [...unsigned(body.length), ...body]));

export const get = (local: number) => [0x20, local];
export const set = (local: number) => [0x21, local];
export const tee = (local: number) => [0x22, local];
export const i32 = (value: number) => [0x41, ...signed(value)];
/** An instruction of the vector set. */
export const vector = (opcode: number, ...immediates: number[]) => [0xfd, ...unsigned(opcode), ...immediates];
export const v128 = (bytes: readonly number[]) => vector(0x0c, ...bytes);

/** LEB128, as the binary format writes numbers. */
export function unsigned(value: number): number[] {
  return value < 0x80 ? [value] : [(value & 0x7f) | 0x80, ...unsigned(value >>> 7)];
}

/** The signed form, for what is not negative: bit 6 of the last byte must be clear. */
export function signed(value: number): number[] {
  return value < 0x40 ? [value] : [(value & 0x7f) | 0x80, ...signed(value >>> 7)];
}
