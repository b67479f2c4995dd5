import { encodeFits } from "../../formats/fits-write.ts";
import { frameFromBlob } from "../wire/frame-from-blob.ts";
import { MessageReader } from "../wire/message-reader.ts";

let rehearsed = false;

/**
 * Decodes a tiny frame, once per process, when images are asked for: what compiles at first use has then been compiled
 * before the first real frame arrives, which it would delay by a third.
 */
export function rehearseDecoding(): void {
  if (rehearsed) return;
  rehearsed = true;
  const sidePx = 64;
  const size = { widthPx: sidePx, heightPx: sidePx };
  const fits = encodeFits([{ shape: [sidePx, sidePx], pixels: new Uint16Array(sidePx * sidePx) }], 0);
  const text = Buffer.from(fits).toString("base64");
  const message = Buffer.from(
    `<setBLOBVector device="-" name="-" state="Ok"><oneBLOB name="-" size="${fits.length}" format=".fits" len="${fits.length}">${text}</oneBLOB></setBLOBVector>`,
  );
  for (let pass = 0; pass < 2; pass++) {
    new MessageReader({
      nextRevision: () => 0,
      wantsBlob: () => true,
      dropped: () => {},
      message: ({ elements: [element] }) => {
        if (element?.blob && "bytes" in element.blob)
          frameFromBlob({ format: ".fits", bytes: element.blob.bytes }, size);
      },
    }).push(message);
  }
}
