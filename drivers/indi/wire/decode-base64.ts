import { type Kernel, layout, startKernel, u8 } from "../../kit/kernels/host.ts";

/** Longest text for `decodePlain`. */
export const textBytesMax = 65_536;

/**
 * Decodes base64 as far as whole turns of 64 characters are plain, without blanks or padding, by SIMD in WebAssembly. The
 * runtime's own decoder takes strings, and making them costs more than decoding; it gets only what is not plain.
 * @param text at most `textBytesMax`
 * @returns three bytes for each four characters used; only lent until the next call
 */
export function decodePlain(text: Uint8Array): Uint8Array {
  made ??= startDecoder();
  made.text.set(text);
  return made.text.subarray(0, (made.kernel.decode(made.textAt, text.length) * 3) / 4);
}

interface Decoder {
  readonly kernel: Kernel<"base64-decoding">;
  /** And, in its place, what it becomes. */
  readonly text: Uint8Array;
  readonly textAt: number;
}

let made: Decoder | undefined;

function startDecoder(): Decoder {
  const { memory, at, views } = layout({ text: u8(textBytesMax) });
  return { kernel: startKernel("base64-decoding", memory), text: views.text, textAt: at.text };
}
