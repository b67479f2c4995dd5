import { readFileSync } from "node:fs";
import { join } from "node:path";
import { parse } from "yaml";

export interface DescribedMember {
  readonly verb: "GET" | "PUT";
  /** `{device_type}` for those that every device has. */
  readonly type: string;
  readonly member: string;
  /** What it needs besides the ids, by the published name, with its JSON type. */
  readonly parameters: Readonly<Record<string, string>>;
}

type Part = Record<string, unknown>;
const document = parse(
  readFileSync(join(import.meta.dirname, "standards/alpaca/AlpacaDeviceAPI_v1.yaml"), "utf8"),
) as Part;

/** Every member of the published device interface, with the parameters that its description requires. */
export const describedMembers: readonly DescribedMember[] = Object.entries(
  document.paths as Record<string, Part>,
).flatMap(([path, operations]) =>
  Object.entries(operations).map(([method, operation]) => {
    const [, type, member] = /^\/([^/]+)\/\{device_number\}\/([a-z]+)$/.exec(path) ?? [];
    if (type === undefined || member === undefined) throw new Error(`unexpected path ${path}`);
    return {
      verb: method.toUpperCase() as "GET" | "PUT",
      type,
      member,
      parameters: method === "put" ? formOf(operation as Part) : queryOf(operation as Part),
    };
  }),
);

function resolve(part: unknown): Part {
  let found = part as Part;
  while (typeof found.$ref === "string") {
    const keys = found.$ref.slice(2).split("/");
    found = keys.reduce<Part>((at, key) => at[key] as Part, document);
  }
  return found;
}

function isId(name: string): boolean {
  return name === "ClientID" || name === "ClientTransactionID";
}

function queryOf(operation: Part): Record<string, string> {
  const parameters = ((operation.parameters as unknown[] | undefined) ?? []).map(resolve);
  return Object.fromEntries(
    parameters
      .filter((one) => one.in === "query" && !isId(one.name as string))
      .map((one) => [one.name as string, resolve(one.schema).type as string]),
  );
}

function formOf(operation: Part): Record<string, string> {
  if (operation.requestBody === undefined) return {};
  const content = resolve(operation.requestBody).content as Record<string, Part>;
  return propertiesOf(content["application/x-www-form-urlencoded"]!.schema);
}

function propertiesOf(schema: unknown): Record<string, string> {
  const whole = resolve(schema);
  const parts = ((whole.allOf as unknown[] | undefined) ?? []).map(propertiesOf);
  const own = Object.entries((whole.properties as Record<string, unknown> | undefined) ?? {})
    .filter(([name]) => !isId(name))
    .map(([name, property]) => [name, resolve(property).type as string]);
  return Object.assign({}, ...parts, Object.fromEntries(own)) as Record<string, string>;
}
