import { readdirSync, readFileSync } from "node:fs";
import { describe, expect, test } from "vitest";
import { StreamLimitError } from "../../../../drivers/indi/wire/errors.ts";
import type { StreamLimits } from "../../../../drivers/indi/wire/limits.ts";
import { type IndiMessage, MessageReader } from "../../../../drivers/indi/wire/message-reader.ts";
import { Random } from "../../../../drivers/kit/random.ts";
import { parseWire } from "../scripted-server.ts";

const folder = new URL("../recordings/", import.meta.url);
const recordings = readdirSync(folder).filter((name) => name.endsWith(".xml"));

function reader(limits: Partial<StreamLimits> = {}) {
  const messages: IndiMessage[] = [];
  const dropped: string[] = [];
  let revision = 0;
  const reading = new MessageReader(
    {
      message: (message) => messages.push(message),
      nextRevision: () => ++revision,
      wantsBlob: () => true,
      dropped: (why) => dropped.push(why),
    },
    limits,
  );
  return { reading, messages, dropped };
}

function read(text: string | Uint8Array, cut: (left: number) => number = (left) => left, limits = {}) {
  const bytes = Buffer.from(text);
  const { reading, messages, dropped } = reader(limits);
  for (let at = 0; at < bytes.length; ) {
    const end = Math.min(bytes.length, at + cut(bytes.length - at));
    reading.push(new Uint8Array(bytes.subarray(at, end))); // a chunk of its own, as a socket gives
    at = end;
  }
  return { messages, dropped, midMessage: reading.midMessage };
}

/** The same in plain words, to compare with another parser's. */
function plain(message: IndiMessage) {
  return {
    attributes: Object.fromEntries(message.attributes),
    children: message.elements.map((element) => ({
      attributes: Object.fromEntries(element.attributes),
      text:
        element.blob && "bytes" in element.blob
          ? Buffer.from(element.blob.bytes).toString("base64")
          : element.text,
    })),
  };
}

describe("recordings, cut at random borders, read as another XML parser reads them whole", () => {
  test.each(recordings)("%s", (name) => {
    const text = readFileSync(new URL(name, folder), "utf8");
    const expected = parseWire(text).map((wire) => ({
      attributes: { ...wire.attributes },
      children: wire.children.map((child) => ({
        attributes: { ...child.attributes },
        text: child.tag === "oneBLOB" ? child.text.replaceAll(/\s/g, "") : child.text.trim(),
      })),
    }));
    expect(expected.length).toBeGreaterThan(4);
    const seed = 7_140_061;
    const random = new Random(seed);
    for (const longest of [1, 2, 7, 100, 5000, 10 ** 7]) {
      const { messages, dropped } = read(text, () => random.whole(1, longest));
      const whole = messages.filter((m) => !m.elements.some((e) => e.blob && "broken" in e.blob));
      const found = messages.map(plain);
      // One recording's payload is cut by its maker: that BLOB must be told as broken.
      const cut = messages.length - whole.length;
      expect(cut, `seed ${seed}`).toBe(name.startsWith("native-blob") ? 1 : 0);
      expect(dropped).toEqual([]);
      expect(found.length).toBe(expected.length);
      for (const [i, message] of found.entries()) {
        if (messages[i] === undefined || !whole.includes(messages[i])) continue;
        expect(message, `seed ${seed}, message ${i}`).toEqual(expected[i]);
      }
    }
  });
});

describe("what drivers and servers write", () => {
  const plainVector =
    '<setTextVector device="D" name="N" state="Ok"><oneText name="A">x</oneText></setTextVector>';

  test("single quotes, any attribute order, tags over lines, a declaration before each message", () => {
    const { messages } = read(`<?xml version='1.0'?>
<setTextVector
  state='Ok'
  name='N' device='D'
 >
  <oneText
     name='A'>
 x
  </oneText
>
</setTextVector >`);
    expect(messages.map(plain)).toEqual(read(plainVector).messages.map(plain));
  });

  test("empty text comes self-closed", () => {
    const { messages } = read(
      '<defTextVector device="D" name="N"><defText name="A" label=""/></defTextVector>',
    );
    expect(messages[0]?.elements).toMatchObject([{ name: "A", text: "" }]);
  });

  test("the five entities and numeric references, in attributes and text, cut anywhere", () => {
    const { messages } = read(
      '<message device="a&amp;b" message="&lt;&gt;&quot;&apos; &amp;#65; &#66;&#x43; &odd;"/><setTextVector device="D" name="N"><oneText name="A">1 &lt; 2 &amp;amp;</oneText></setTextVector>',
      () => 1,
    );
    expect(messages[0]?.attributes.get("device")).toBe("a&b");
    expect(messages[0]?.attributes.get("message")).toBe("<>\"' &#65; BC &odd;");
    expect(messages[1]?.elements[0]?.text).toBe("1 < 2 &amp;");
  });

  test("UTF-8 survives a cut within a character", () => {
    const text = '<setTextVector device="Ä" name="N"><oneText name="A">søl ☀</oneText></setTextVector>';
    expect(read(text, () => 1).messages.map(plain)).toMatchObject([{ children: [{ text: "søl ☀" }] }]);
  });

  test("stray text, NUL, a byte order mark, comments, CDATA, DOCTYPE and unknown tags are passed over", () => {
    const noise =
      '\uFEFF\0 stray &;" <!-- <message/> " -- > --><!DOCTYPE x><odd a="1"><inner/></odd></odd><![CDATA[<x>]]><?pi > ?>';
    for (const cut of [1, 3, 1000]) {
      const { messages, dropped } = read(noise + plainVector + noise + plainVector, () => cut);
      expect(messages.map(plain)).toEqual(
        [...read(plainVector).messages, ...read(plainVector).messages].map(plain),
      );
      expect(dropped).toEqual([]);
    }
  });

  test("a '>' within quotes ends no tag", () => {
    expect(read('<message device="D" message="a > b"/>').messages[0]?.attributes.get("message")).toBe(
      "a > b",
    );
  });

  test("names may hold blanks, and one element of a vector may have no name", () => {
    const { messages } = read(
      '<setSwitchVector device="My Cam 1" name="Preset 1"><oneSwitch name="">On</oneSwitch></setSwitchVector>',
    );
    expect(messages[0]?.attributes.get("name")).toBe("Preset 1");
    expect(messages[0]?.elements[0]?.name).toBe("");
  });
});

describe("damage costs the damaged element and no more", () => {
  const good = '<message device="D" message="good"/>';

  test.each([
    [
      "a mismatched end tag",
      '<setTextVector device="D" name="N"><oneText name="A">x</oneNumber></setTextVector>',
    ],
    ["an element that is never closed", '<setTextVector device="D" name="N"><oneText name="A">x'],
    ["a tag within a tag", '<setTextVector device="D" na<setTextVector device="D"><oops></setTextVector>'],
    ["an attribute without quotes", '<setTextVector device=D name="N"></setTextVector>'],
    ["a root around everything", "<INDI>"],
    ["end tags of nothing", "</x></setTextVector>"],
    [
      "a broken BLOB",
      '<setBLOBVector device="D" name="C"><oneBLOB name="C" len="9">AA<b/>AA</oneBLOB></setBLOBVector>',
    ],
  ])("%s", (_, damage) => {
    for (const cut of [1, 1000]) {
      const { messages } = read(good + damage + good, () => cut);
      const told = messages.filter((message) => message.action === "message");
      expect(told.length).toBe(2);
      expect(
        messages.filter((m) => m.elements.some((e) => e.text !== "" || (e.blob && "bytes" in e.blob))),
      ).toEqual([]);
    }
  });

  test("a link that ends within an element says so", () => {
    expect(read('<setTextVector device="D"').midMessage).toBe(false); // no message has begun yet
    expect(read('<setTextVector device="D">').midMessage).toBe(true);
    expect(read(good).midMessage).toBe(false);
  });
});

describe("declared limits", () => {
  test.each([
    ["a tag", { tagBytesMax: 1000 }, `<message device="${"x".repeat(1200)}"/>`],
    ["an attribute", { attributeBytesMax: 100 }, `<message device="${"x".repeat(120)}"/>`],
    [
      "a setTextVector",
      { elementBytesMax: 1000 },
      `<setTextVector device="D">${'<oneText name="A">x</oneText>'.repeat(60)}`,
    ],
    [
      "a setTextVector",
      { elementBytesMax: 1000 },
      `<setTextVector device="D"><oneText name="A">${"x".repeat(1200)}`,
    ],
    ["nesting", { depthMax: 3 }, `<setTextVector device="D">${"<a>".repeat(5)}`],
  ])("%s beyond its limit is an error, whatever the chunks", (what, limits, text) => {
    for (const cut of [1, 50, 10_000]) {
      expect(() => read(text, () => cut, limits)).toThrow(StreamLimitError);
      expect(() => read(text, () => cut, limits)).toThrow(what);
    }
  });

  test("a BLOB beyond its limit is told and passed over, and the stream goes on", () => {
    const text = `<setBLOBVector device="D" name="C"><oneBLOB name="C" size="4000" len="4000">${Buffer.alloc(4000).toString("base64")}</oneBLOB></setBLOBVector><message device="D"/>`;
    const { messages } = read(text, () => 100, { blobBytesMax: 1000 });
    expect(messages[0]?.elements[0]?.blob).toMatchObject({ broken: "4000 bytes declared, 1000 allowed" });
    expect(messages.length).toBe(2);
  });

  test("a BLOB of size 0 is a change of state without data", () => {
    const text =
      '<setBLOBVector device="D" name="C" state="Busy"><oneBLOB name="C" size="0" format=".fits">AAAA</oneBLOB></setBLOBVector>';
    expect(read(text).messages[0]?.elements[0]?.blob).toBeUndefined();
  });
});

test("fuzz: damaged streams never hang, crash otherwise than by a limit, or yield a wrong picture", () => {
  const seed = 55_501;
  const random = new Random(seed);
  const text = readFileSync(new URL("fits-blob-16x16-1.9.9.xml", folder), "latin1");
  const pictures = new Set(
    read(text).messages.flatMap((m) =>
      m.elements.flatMap((e) =>
        e.blob && "bytes" in e.blob ? [Buffer.from(e.blob.bytes).toString("base64")] : [],
      ),
    ),
  );
  expect(pictures.size).toBeGreaterThan(0);
  let found = 0;
  const damages: ((bytes: Buffer, at: number) => Buffer)[] = [
    (bytes, at) => Buffer.concat([bytes.subarray(0, at), bytes.subarray(at + random.whole(1, 3000))]), // lost
    (bytes, at) =>
      Buffer.concat([
        bytes.subarray(0, at),
        Buffer.from('!"#<>*\0&;~'.slice(random.whole(0, 8))),
        bytes.subarray(at),
      ]),
    (bytes, at) => Buffer.concat([bytes.subarray(0, at), Buffer.from("\uFFFD<>'\""), bytes.subarray(at + 5)]),
    (bytes, at) =>
      Buffer.concat([
        bytes.subarray(0, at),
        Buffer.from(random.pick(["<oneBLOB>", "</oneBLOB>", "<message/>", "<!--"])),
        bytes.subarray(at),
      ]),
    (bytes, at) => bytes.subarray(0, at),
  ];
  for (let round = 0; round < 400; round++) {
    let bytes: Buffer = Buffer.from(text, "latin1");
    for (let k = random.whole(1, 3); k > 0; k--)
      bytes = random.pick(damages)(bytes, random.whole(0, bytes.length));
    const longest = random.pick([10, 1000, 50_000]);
    const { reading, messages } = reader({ tagBytesMax: 4096 });
    try {
      for (let at = 0; at < bytes.length; ) {
        const end = Math.min(bytes.length, at + random.whole(1, longest));
        reading.push(bytes.subarray(at, end));
        at = end;
      }
    } catch (error) {
      expect(error, `seed ${seed} round ${round}`).toBeInstanceOf(StreamLimitError);
    }
    for (const element of messages.flatMap((message) => message.elements)) {
      if (!element.blob || "broken" in element.blob) continue;
      found++;
      expect(
        pictures.has(Buffer.from(element.blob.bytes).toString("base64")),
        `seed ${seed} round ${round}`,
      ).toBe(true);
    }
  }
  expect(found).toBeGreaterThan(100); // most damage leaves some picture whole
});
