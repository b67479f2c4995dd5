import type { FrameGroup } from "./group-frames.ts";

/**
 * A name that tells what is in a master, with a mark of the very files that it is made of: another set of files makes another name,
 * and what is there under a name need not be made again.
 */
export function masterName(
  kind: string,
  { files, first }: FrameGroup,
  scaled?: { readonly scaledTo: number; readonly by: string },
): string {
  const { header } = first;
  const [seconds, gain] = [scaled?.scaledTo ?? header.number("EXPTIME"), header.number("GAIN")];
  const parts = [
    scaled ? `${kind}-scaled` : kind,
    header.text("FILTER")?.trim(),
    seconds === undefined || kind === "bias" ? undefined : `${Number(seconds.toPrecision(4))}s`,
    gain === undefined ? undefined : `gain${gain}`,
    `${first.widthPx}x${first.heightPx}`,
    mark([...files.map(({ stamp }) => stamp), ...(scaled ? [String(scaled.scaledTo), scaled.by] : [])]),
  ];
  return `${parts
    .filter((part) => part !== undefined && part !== "")
    .join("-")
    .replace(/[^\w.-]+/g, "_")}.fits`;
}

function mark(texts: readonly string[]): string {
  return new Bun.CryptoHasher("sha256").update(texts.join("\n")).digest("hex").slice(0, 8);
}
