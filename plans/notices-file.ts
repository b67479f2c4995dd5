import * as z from "zod";
import { mapOf, oneOf, parsePart, schemaInFile, shortName, textLine, wholeFrom } from "./fields.ts";
import { readChecked } from "./file-problems.ts";

/** What a notice may be about, the most urgent first. What `begins` and `ends` is told twice, the rest happens. */
export const noticeKinds = [
  "not-restored",
  "person-needed",
  "rig-not-reached",
  "not-at-rest",
  "file-refused",
  "not-safe",
  "run-failed",
  "verdict-bad",
  "left-out",
  "run-done",
  "service",
] as const;
export type NoticeKind = (typeof noticeKinds)[number];

const timeText = "a time of day, written hh:mm in quotes, from 00:00 to 23:59";
const localTime = z.string({ error: timeText }).regex(/^([01]\d|2[0-3]):[0-5]\d$/, { error: timeText });
const fileName = (what: string) => textLine(`the path of the file that holds ${what}`, 1000);
const secretFile = (what: string) =>
  fileName(what).describe(`The file that holds ${what}; nobody but its owner may read it.`);

const kindList = z
  .array(oneOf(noticeKinds), { error: `a list of ${noticeKinds.join(", ")}` })
  .min(1, { error: "a list of at least one kind" });

const webAddressText = "an address that begins with https:// or http:// and holds no user name or password";
const webAddress = z
  .string({ error: webAddressText })
  .max(2000, { error: webAddressText })
  .refine((text) => isAddress(text, ["https:", "http:"]), { error: webAddressText });

const brokerText =
  "an address such as mqtts://broker.example:8883 or mqtt://broker.example:1883, without a user name or password";
export const isBrokerAddress = (text: string): boolean => isAddress(text, ["mqtt:", "mqtts:"]);
const brokerAddress = z.string({ error: brokerText }).refine(isBrokerAddress, { error: brokerText });

function isAddress(text: string, protocols: readonly string[]): boolean {
  const url = URL.parse(text);
  return url !== null && protocols.includes(url.protocol) && url.username === "" && url.password === "";
}

const privateText = "an address over TLS (https or mqtts), or on this computer";
const onThisComputer = ["127.0.0.1", "[::1]", "localhost"];
/** Whether a secret may go there. */
export function isPrivate(address: string): boolean {
  const url = URL.parse(address);
  return (
    url !== null && (["https:", "mqtts:"].includes(url.protocol) || onThisComputer.includes(url.hostname))
  );
}

const mailText = "one mail address, such as observer@example.org";
const mailAddress = z
  .string({ error: mailText })
  .max(254, { error: mailText })
  .regex(/^[^\s@<>(),;:"\\[\]]+@[A-Za-z0-9](?:[A-Za-z0-9.-]*[A-Za-z0-9])?$/, { error: mailText });

/** A level of a topic: no wildcards, no empty level. */
export const topicPattern = /^[^+#/\s\0]+(?:\/[^+#/\s\0]+)*$/;
const topicText = "a topic without spaces, + or #, such as observatory/rigs";
const topic = z
  .string({ error: topicText })
  .max(200, { error: topicText })
  .regex(topicPattern, { error: topicText });

const webhook = mapOf({
  address: webAddress.optional().describe("Where the notice is posted, as JSON."),
  addressFile: fileName("the address").optional().describe("Instead of `address`, where that is a secret."),
  tokenFile: secretFile("a token, sent as `Authorization: Bearer`").optional(),
})
  .refine((entry) => (entry.address === undefined) !== (entry.addressFile === undefined), {
    error: "either address or addressFile",
  })
  .refine(({ address, tokenFile }) => tokenFile === undefined || !address || isPrivate(address), {
    error: `tokenFile only with ${privateText}`,
  });

const mqtt = mapOf({
  broker: brokerAddress.describe("The broker; MQTT 5."),
  topic: topic.default("evenfield").describe("Below it stand `RIG/state`, `RIG/present` and `RIG/notice`."),
  user: textLine("a user name").optional().describe("Its name at the broker."),
  passwordFile: secretFile("the password").optional(),
  caFile: fileName("the certificate authority's certificate")
    .optional()
    .describe("Of a broker whose certificate no public authority signed."),
}).refine(({ broker, passwordFile }) => passwordFile === undefined || isPrivate(broker), {
  error: `passwordFile only with ${privateText}`,
});
export type BrokerEntry = z.infer<typeof mqtt>;

const mail = mapOf({
  host: textLine("a host name or address", 253).describe("The outgoing mail server."),
  port: wholeFrom(1, 65535).default(587).describe("587 begins plain and turns to TLS, 465 is TLS at once."),
  from: mailAddress.describe("The sender."),
  to: z
    .array(mailAddress, { error: "a list of mail addresses" })
    .min(1, { error: "a list of at least one mail address" })
    .describe("Who gets it."),
  user: textLine("a user name").optional().describe("Its name at the server."),
  passwordFile: secretFile("the password").optional(),
  caFile: fileName("the certificate authority's certificate")
    .optional()
    .describe("Of a server whose certificate no public authority signed."),
  plainOnThisComputer: z
    .boolean({ error: "true or false" })
    .default(false)
    .describe("Without TLS and password, to a mail server on this computer alone."),
}).refine((entry) => !entry.plainOnThisComputer || ["127.0.0.1", "::1", "localhost"].includes(entry.host), {
  error: "plainOnThisComputer only with the host 127.0.0.1, ::1 or localhost",
});

const command = z
  .array(textLine("a program, then its arguments", 1000), { error: "a list: a program, then its arguments" })
  .min(1, { error: "a list of at least the program" })
  .describe(
    "A program of yours and its arguments, no shell; the notice stands on its standard input as JSON.",
  );

const forms = {
  webhook: webhook.describe("Posted to an address of yours or of a service that you use."),
  mqtt: mqtt.describe("To a broker of yours, where the state of the rig is kept and its silence is seen."),
  mail: mail.describe("By a mail server, over TLS."),
  command,
} as const;
type Form = keyof typeof forms;
const formNames = Object.keys(forms) as readonly Form[];
export type ReceiverWay = { [K in Form]: { readonly [Key in K]: z.infer<(typeof forms)[K]> } }[Form];

const way = z
  .unknown()
  .meta({
    ...schemaInFile(z.union(formNames.map((name) => z.strictObject({ [name]: forms[name] })))),
    description: "How it gets there.",
  })
  .transform((entry, ctx): ReceiverWay => {
    const keys = entry !== null && typeof entry === "object" ? Object.keys(entry) : [];
    const name = formNames.find((one) => one === keys[0]);
    if (keys.length !== 1 || name === undefined) {
      const message = `a map with one of ${formNames.join(", ")}`;
      ctx.issues.push({ code: "custom", message, input: entry, path: [] });
      return z.NEVER;
    }
    return parsePart(z.strictObject({ [name]: forms[name] }), entry, ctx) as unknown as ReceiverWay;
  });

const receiver = mapOf({
  name: shortName("the receiver's name").describe("Its name in logs, and for what still waits for it."),
  by: way,
  kinds: kindList.optional().describe("What it is told; everything if left out."),
  quiet: mapOf({
    fromLocalTime: localTime.describe("By the clock at the site."),
    untilLocalTime: localTime.describe("What came in between is sent then."),
    butFor: kindList.default(["not-restored", "person-needed"]).describe("Kinds that are sent all the same."),
  })
    .refine((quiet) => quiet.fromLocalTime !== quiet.untilLocalTime, {
      error: "two times that differ in fromLocalTime and untilLocalTime",
    })
    .optional()
    .describe("Hours in which it is left in peace."),
  perHourMost: wholeFrom(1, 1000, "notices").default(20).describe("More wait, the most urgent go first."),
});
export type Receiver = z.infer<typeof receiver>;

export const noticesFile = mapOf({
  notices: shortName("the name of these notices").describe("A name for it."),
  to: z
    .array(receiver, { error: "a list of receivers" })
    .min(1, { error: "a list of at least one receiver" })
    .max(20, { error: "a list of at most 20 receivers" })
    .describe("Who is told what, and how."),
}).check((ctx) => {
  const names = (ctx.value.to as readonly Receiver[]).map(({ name }) => name);
  for (const [index, name] of names.entries())
    if (names.indexOf(name) < index) {
      const message = "a name that no receiver above has";
      ctx.issues.push({ code: "custom", path: ["to", index, "name"], message, input: name });
    }
});
export type NoticesFile = z.infer<typeof noticesFile>;

/** @throws FileProblemsError naming file, line, the value found and what is allowed, all problems at once */
export function readNotices(text: string, file: string): NoticesFile {
  return readChecked(text, file, noticesFile);
}
