import { expect, test } from "vitest";
import { vector } from "../far-end.ts";
import { signal, testClient } from "../test-client.ts";

/** What a server says on one link, and why the link ended. */
async function reasonAfter(pieces: Iterable<string>): Promise<string | undefined> {
  const { clock, far, client } = testClient();
  let reason: string | undefined;
  client.watch((event) => {
    if (event.type === "linkDown") reason ??= event.reason;
  });
  await clock.drive(
    (async () => {
      await client.connect(signal);
      for (const piece of pieces) {
        if (far.links.length === 0) break;
        far.say(piece);
        await clock.sleep(0.01);
      }
      await clock.sleep(0.1);
    })(),
  );
  const seen = reason;
  await client.close();
  return seen;
}

const message = (device: string) => `<message device="${device}" message="here"/>`;
const words = "x".repeat(200_000);
const text = (device: string, property: string) =>
  vector("def", "Text", device, property, "Ok", { A: words });

test("a server that names devices without end is left, not remembered", async () => {
  const names = Array.from({ length: 12 }, (_, i) =>
    Array.from({ length: 100 }, (_, j) => message(`D${100 * i + j}`)).join(""),
  );
  expect(await reasonAfter(names)).toContain("devices beyond the limit of 1000");
});

test("a server that defines properties without end is left", async () => {
  const properties = Array.from({ length: 200 }, (_, i) => text("D", `P${i}`));
  expect(await reasonAfter(properties)).toContain("definitions beyond the limit");
});

test("what is defined anew, told or deleted again and again is held once", async () => {
  const again = Array.from({ length: 250 }, (_, i) => [
    text("D", "SAME"),
    vector("set", "Text", "D", "SAME", "Ok", { A: "y" }),
    text("D", `P${i}`),
    i % 2 === 0 ? `<delProperty device="D" name="P${i}"/>` : '<delProperty device="D"/>',
  ]);
  expect(await reasonAfter(again.map((piece) => piece.join("")))).toBeUndefined();
});
