import { readdirSync, readFileSync } from "node:fs";
import { join } from "node:path";
import { expect, test } from "vitest";
import { describedOperations } from "./alpaca-description.ts";

/**
 * Requests are judged one by one in every test of the driver (test/drivers/alpaca/alpaca-bench.ts). Here the driver's
 * text is read, so that no member escapes because no test happens to ask for it.
 */
const folder = join(import.meta.dirname, "../../drivers/alpaca");
const source = readdirSync(folder, { recursive: true, encoding: "utf8" })
  .filter((name) => name.endsWith(".ts"))
  .map((name) => readFileSync(join(folder, name), "utf8"))
  .join("\n");

/** Members that every device has, those of the ten types, and the server's own. */
const described = (method: string) =>
  new Set(
    describedOperations()
      .filter(
        (operation) => /^[A-Z]+ \/(api\/v1|management)\//.test(operation) && operation.startsWith(method),
      )
      .map((operation) => operation.split("/").at(-1)!),
  );

const named = (pattern: RegExp) =>
  [...new Set([...source.matchAll(pattern)].map((match) => match[1]!))].sort();

/** Properties are read and written under the name that their parameter has. */
const properties = named(/\bname: "([A-Z][A-Za-z]+)",\s*schema/g).map((name) => name.toLowerCase());

test("every member that the driver reads is described as one to read", () => {
  const members = [
    ...named(/\.(?:get|optional|probe)(?:<[^>]*>)?\(\s*"([a-z]+)"/g),
    ...named(/\b(?:must|may|can)\("([a-z]+)"\)/g),
    ...named(/\bmember: "([a-z]+)"/g),
    ...properties,
  ];
  expect(members.length).toBeGreaterThan(60);
  expect(members.filter((member) => !described("GET").has(member))).toEqual([]);
});

test("every command that the driver sends is described as one to send", () => {
  const members = [
    ...named(/\.put\(\s*"([a-z]+)"/g),
    ...named(/\.put\([^")]*\? "([a-z]+)"/g),
    ...named(/\.put\([^")]*\? "[a-z]+" : "([a-z]+)"/g),
    ...properties,
  ];
  expect(members).toEqual(
    expect.arrayContaining(["startexposure", "park", "unpark", "slewtocoordinatesasync", "gain"]),
  );
  expect(members.filter((member) => !described("PUT").has(member))).toEqual([]);
});
