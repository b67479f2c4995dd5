import { readFileSync } from "node:fs";
import { join } from "node:path";
import { Ajv2020, type ValidateFunction } from "ajv/dist/2020.js";
import { parse } from "yaml";

/**
 * The published OpenAPI description of the Alpaca protocol, as a judge of requests and replies.
 * Copies of the two files and where they come from: test/outside/standards/alpaca.
 *
 * Where the description is known to be wrong or silent, an exception stands here, each with its reason:
 * - PUT switch/{n}/cancelasync (Id) exists since ISwitchV3 and is missing: added.
 * - imagearray may answer `application/imagebytes` (API reference, ImageBytes), which is not listed: allowed.
 * - Transaction ids of 0 in replies mean "not supplied" by its own text, yet its minimum is 1: 0 is allowed.
 * - A DeviceState value that is a date-time fits two branches of its `oneOf`: read as `anyOf`.
 * - Error replies of 400, 403 and 500 may say so in any text format: only the status is judged.
 */

export interface DescribedRequest {
  readonly method: string;
  /** With `/api/v1` or `/management`; without the query. */
  readonly path: string;
  /** Without the question mark. */
  readonly query?: string | undefined;
  readonly form?: string | undefined;
}

export interface DescribedReply {
  readonly status: number;
  readonly contentType: string;
  /** As text; not looked at when it is image bytes. */
  readonly body: string;
}

/** What is wrong with a request by the description; empty when nothing is. */
export function requestProblems(request: DescribedRequest): string[] {
  const found = find(request);
  if (typeof found === "string") return [found];
  const { operation, document, numbers } = found;
  const problems = numbers.flatMap((text) => (isUint32(text) ? [] : [`device number "${text}"`]));
  const query = new URLSearchParams(request.query ?? "");
  if (request.method === "PUT") {
    if (request.query) problems.push("a query on a PUT");
    const schema = requestSchema(operation, document);
    const values = typed(new URLSearchParams(request.form ?? ""), schema, document);
    problems.push(...unknownNames(Object.keys(values), schema, document));
    return [...problems, ...against(schema, document, values)];
  }
  if (request.form) problems.push("a body on a GET");
  const wanted = (operation.parameters ?? [])
    .map((one) => resolve(one, document) as Parameter)
    .filter((one) => one.in === "query");
  for (const name of new Set(query.keys())) {
    const parameter = wanted.find((one) => one.name === name);
    if (!parameter) problems.push(`unknown parameter ${name}`);
    else
      problems.push(
        ...against(parameter.schema, document, meaningOf(query.get(name)!, parameter.schema, document)),
      );
  }
  const missing = wanted.filter((one) => one.required && !query.has(one.name));
  return [...problems, ...missing.map((one) => `parameter ${one.name} is missing`)];
}

/** What is wrong with a reply to that request by the description; empty when nothing is. */
export function replyProblems(request: DescribedRequest, reply: DescribedReply): string[] {
  const found = find(request);
  if (typeof found === "string") {
    return reply.status >= 400 && reply.status < 500 ? [] : [`${found}, and the answer is ${reply.status}`];
  }
  const { operation, document } = found;
  if ([400, 403, 500].includes(reply.status)) return [];
  const described = operation.responses[String(reply.status)];
  if (!described) return [`status ${reply.status} is not described`];
  const mediaType = reply.contentType.split(";")[0]!.trim().toLowerCase();
  if (mediaType === "application/imagebytes" && request.path.endsWith("/imagearray")) return [];
  const content = (resolve(described, document) as Response).content[mediaType];
  if (!content) return [`content type ${reply.contentType} is not described`];
  if (mediaType !== "application/json") return [];
  let value: unknown;
  try {
    value = JSON.parse(reply.body);
  } catch (error) {
    return [`not JSON: ${String(error)}`];
  }
  const inManagement = request.path.startsWith("/management");
  const failed = (value as { ErrorNumber?: number }).ErrorNumber ?? 0;
  // A reply that tells of an error needs no value, and junk is allowed in its place.
  const schema =
    failed !== 0 && !inManagement ? { $ref: "#/components/schemas/AlpacaResponse" } : content.schema;
  const problems = against(schema, document, value);
  const must = ["ClientTransactionID", "ServerTransactionID"];
  if (!inManagement) must.push("ErrorNumber", "ErrorMessage");
  if (request.method === "GET" && failed === 0) must.push("Value");
  for (const name of must) if (!(name in (value as object))) problems.push(`${name} is missing`);
  return problems;
}

/** Every operation that the description knows, as `GET /api/v1/camera/{device_number}/gain`. */
export function describedOperations(): string[] {
  return documents.flatMap(({ prefix, content }) =>
    Object.entries(content.paths).flatMap(([path, operations]) =>
      Object.keys(operations).map((method) => `${method.toUpperCase()} ${prefix}${path}`),
    ),
  );
}

type Schema = Readonly<Record<string, unknown>>;
interface Parameter {
  readonly name: string;
  readonly in: string;
  readonly required?: boolean;
  readonly schema: Schema;
}
interface Response {
  readonly content: Readonly<Record<string, { readonly schema: Schema }>>;
}
interface Operation {
  readonly parameters?: readonly Schema[];
  readonly requestBody?: Schema;
  readonly responses: Readonly<Record<string, Schema>>;
}
interface Document {
  readonly id: string;
  readonly prefix: string;
  readonly content: { readonly paths: Record<string, Record<string, Operation>> };
}

const ajv = new Ajv2020({ strict: false, allErrors: true, validateSchema: false });
const wholeBetween = (min: number, max: number) => ({
  type: "number" as const,
  validate: (value: number) => Number.isInteger(value) && value >= min && value <= max,
});
ajv.addFormat("int32", wholeBetween(-(2 ** 31), 2 ** 31 - 1));
ajv.addFormat("uint32", wholeBetween(0, 2 ** 32 - 1));
// Their patterns stand beside these formats and say all.
for (const name of ["date-time", "date-time-fits", "double"]) ajv.addFormat(name, true);

function load(id: string, file: string, prefix: string): Document {
  const content = parse(readFileSync(join(import.meta.dirname, "standards/alpaca", file), "utf8"));
  return { id, prefix, content: mended(content) as Document["content"] };
}

/** The exceptions that lie in the schemas. */
function mended(part: unknown, name = ""): unknown {
  if (Array.isArray(part)) return part.map((one) => mended(one));
  if (part === null || typeof part !== "object") return part;
  const entries = Object.entries(part).map(([key, value]) => [key, mended(value, key)] as const);
  const copy = Object.fromEntries(entries) as Record<string, unknown>;
  if (name === "AlpacaResponse") {
    const properties = copy.properties as Record<string, Record<string, unknown>>;
    for (const id of ["ClientTransactionID", "ServerTransactionID"]) properties[id]!.minimum = 0;
  }
  if (name === "Value" && Array.isArray(copy.oneOf)) {
    copy.anyOf = copy.oneOf;
    delete copy.oneOf;
  }
  return copy;
}

const device = load("device", "AlpacaDeviceAPI_v1.yaml", "/api/v1");
device.content.paths["/switch/{device_number}/cancelasync"] = {
  put: {
    requestBody: {
      content: {
        "application/x-www-form-urlencoded": {
          schema: {
            allOf: [
              { $ref: "#/components/schemas/AlpacaRequest" },
              { properties: { Id: { type: "integer", format: "int32", minimum: 0 } }, required: ["Id"] },
            ],
          },
        },
      },
    },
    responses: { "200": { $ref: "#/components/responses/MethodResponse" } },
  },
};
const documents: readonly Document[] = [device, load("management", "AlpacaManagementAPI_v1.yaml", "")];
for (const { id, content } of documents) ajv.addSchema(content as object, id);

/** The most literal path first: `/camera/{n}/name` is also `/{device_type}/{n}/name`. */
function find(request: DescribedRequest) {
  for (const document of documents) {
    if (!request.path.startsWith(`${document.prefix}/`)) continue;
    const path = request.path.slice(document.prefix.length);
    for (const [template, operations] of Object.entries(document.content.paths)) {
      const numbers = match(template, path, document);
      if (!numbers) continue;
      const operation = operations[request.method.toLowerCase()];
      return operation ? { operation, document, numbers } : `${request.method} is not described for ${path}`;
    }
  }
  return `${request.path} is not described`;
}

/** @returns the device numbers in it, or nothing if the path is another one */
function match(template: string, path: string, document: Document): string[] | undefined {
  const [wanted, given] = [template.split("/"), path.split("/")];
  if (wanted.length !== given.length) return undefined;
  const numbers: string[] = [];
  for (const [i, part] of wanted.entries()) {
    const text = given[i]!;
    if (part === "{device_number}") numbers.push(text);
    else if (part === "{device_type}") {
      const { schema } = resolve({ $ref: "#/components/parameters/device_type" }, document) as Parameter;
      if (against(schema, document, text).length > 0) return undefined;
    } else if (part !== text) return undefined;
  }
  return numbers;
}

function isUint32(text: string): boolean {
  return /^\d+$/.test(text) && Number(text) < 2 ** 32;
}

function resolve(part: Schema, document: Document): unknown {
  const ref = part.$ref;
  if (typeof ref !== "string") return part;
  let found: unknown = document.content;
  for (const key of ref.slice(2).split("/")) found = (found as Record<string, unknown>)[key];
  return found;
}

function requestSchema(operation: Operation, document: Document): Schema {
  if (!operation.requestBody) return {};
  const body = resolve(operation.requestBody, document) as Response;
  return body.content["application/x-www-form-urlencoded"]!.schema;
}

/** Every property that a schema names, through `$ref` and `allOf`. */
function propertiesOf(schema: Schema, document: Document): Record<string, Schema> {
  const whole = resolve(schema, document) as Schema;
  const parts = (whole.allOf as Schema[] | undefined) ?? [];
  return Object.assign(
    {},
    ...parts.map((part) => propertiesOf(part, document)),
    whole.properties as Record<string, Schema> | undefined,
  );
}

/** The device must ignore what it does not know, so a misspelt name is silently lost: ours may send none. */
function unknownNames(names: readonly string[], schema: Schema, document: Document): string[] {
  const known = propertiesOf(schema, document);
  return names.filter((name) => !(name in known)).map((name) => `unknown parameter ${name}`);
}

function typed(form: URLSearchParams, schema: Schema, document: Document): Record<string, unknown> {
  const known = propertiesOf(schema, document);
  return Object.fromEntries(
    [...form].map(([name, text]) => [name, meaningOf(text, known[name] ?? {}, document)]),
  );
}

/** Form and query carry text: what it means by the schema's type, or the text itself, which then does not fit. */
function meaningOf(text: string, schema: Schema, document: Document): unknown {
  const { type } = resolve(schema, document) as Schema;
  if (type === "boolean" && /^(true|false)$/i.test(text)) return text.toLowerCase() === "true";
  if ((type === "integer" || type === "number") && /^-?\d+(\.\d+)?([eE][-+]?\d+)?$/.test(text))
    return Number(text);
  return text;
}

const compiled = new Map<string, ValidateFunction>();

function against(schema: Schema, document: Document, value: unknown): string[] {
  const key = `${document.id} ${JSON.stringify(schema)}`;
  let validate = compiled.get(key);
  if (!validate) {
    validate = ajv.compile(absolute(schema, document.id) as object);
    compiled.set(key, validate);
  }
  if (validate(value)) return [];
  return (validate.errors ?? []).map((error) => `${error.instancePath || "value"} ${error.message}`);
}

/** References inside a part taken out of its document. */
function absolute(part: unknown, id: string): unknown {
  if (Array.isArray(part)) return part.map((one) => absolute(one, id));
  if (part === null || typeof part !== "object") return part;
  return Object.fromEntries(
    Object.entries(part).map(([key, value]) => [
      key,
      key === "$ref" && typeof value === "string" && value.startsWith("#")
        ? `${id}${value}`
        : absolute(value, id),
    ]),
  );
}
