import { expect, test } from "vitest";
import { FileProblemsError } from "../../plans/file-problems.ts";
import { readNotices } from "../../plans/notices-file.ts";

const fileOf = (...lines: string[]) => `notices: n\nto:\n${lines.map((line) => `  - ${line}`).join("\n")}\n`;
const read = (...lines: string[]) => readNotices(fileOf(...lines), "n.yaml");

function problemOf(...lines: string[]): string {
  try {
    read(...lines);
  } catch (error) {
    if (error instanceof FileProblemsError) return error.message;
    throw error;
  }
  return "none";
}

test("each way has its defaults", () => {
  const mail = "{ host: h, from: a@b.example, to: [c@d.example] }";
  expect(read(`{ name: me, by: { mail: ${mail} } }`).to).toEqual([
    {
      name: "me",
      by: {
        mail: { host: "h", port: 587, from: "a@b.example", to: ["c@d.example"], plainOnThisComputer: false },
      },
      perHourMost: 20,
    },
  ]);
  expect(read("{ name: me, by: { mqtt: { broker: mqtts://b.example } } }").to[0]!.by).toEqual({
    mqtt: { broker: "mqtts://b.example", topic: "evenfield" },
  });
});

test.each([
  [
    "two ways",
    "{ name: a, by: { command: [x], webhook: { address: https://h } } }",
    /map with one of webhook, mqtt, mail, command/,
  ],
  ["an unknown way", "{ name: a, by: { pigeon: {} } }", /map with one of webhook/],
  [
    "a password in an address",
    "{ name: a, by: { webhook: { address: https://u:p@h/x } } }",
    /no user name or password/,
  ],
  ["no address", "{ name: a, by: { webhook: {} } }", /either address or addressFile/],
  [
    "a file for an address",
    "{ name: a, by: { webhook: { address: file:///etc/passwd } } }",
    /https:\/\/ or http:/,
  ],
  [
    "a token over the open network",
    "{ name: a, by: { webhook: { address: http://h.example, tokenFile: t } } }",
    /only with an address over TLS/,
  ],
  [
    "a broker's password over the open network",
    "{ name: a, by: { mqtt: { broker: mqtt://h.example, passwordFile: t } } }",
    /only with an address over TLS/,
  ],
  [
    "a topic with a wildcard",
    '{ name: a, by: { mqtt: { broker: mqtts://h, topic: "a/#" } } }',
    /without spaces, \+ or #/,
  ],
  [
    "an address with a line break",
    '{ name: a, by: { mail: { host: h, from: "a@b.c", to: ["a@b.c\\nbcc: x@y.z"] } } }',
    /one mail address/,
  ],
  [
    "two addresses in one",
    '{ name: a, by: { mail: { host: h, from: a@b.c, to: ["a@b.c,d@e.f"] } } }',
    /one mail address/,
  ],
  [
    "plain mail to another computer",
    "{ name: a, by: { mail: { host: h.example, from: a@b.c, to: [a@b.c], plainOnThisComputer: true } } }",
    /only with the host 127\.0\.0\.1/,
  ],
  ["an unknown kind", "{ name: a, by: { command: [x] }, kinds: [gossip] }", /not-restored, person-needed/],
  [
    "a time that is none",
    '{ name: a, by: { command: [x] }, quiet: { fromLocalTime: "24:00", untilLocalTime: "07:00" } }',
    /from 00:00 to 23:59/,
  ],
  [
    "quiet all day long",
    '{ name: a, by: { command: [x] }, quiet: { fromLocalTime: "07:00", untilLocalTime: "07:00" } }',
    /two times that differ/,
  ],
])("%s is refused", (_, line, said) => {
  expect(problemOf(line)).toMatch(said);
  expect(problemOf(line)).toMatch(/^n\.yaml:3: /);
});

test("two receivers of one name are refused, for one could not be told from the other", () => {
  const line = "{ name: a, by: { command: [x] } }";
  expect(problemOf(line, line)).toMatch(/^n\.yaml:4: .*no receiver above has/);
});
