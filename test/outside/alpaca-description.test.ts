import { expect, test } from "vitest";
import { describedOperations, replyProblems, requestProblems } from "./alpaca-description.ts";

const ids = "ClientID=7&ClientTransactionID=12";
const good = { ClientTransactionID: 12, ServerTransactionID: 3, ErrorNumber: 0, ErrorMessage: "" };
const json = (value: object) => ({
  status: 200,
  contentType: "application/json; charset=utf-8",
  body: JSON.stringify(value),
});

test("the description is read whole: every device type, both files, and the member that it forgot", () => {
  const operations = describedOperations();
  expect(operations.length).toBeGreaterThan(270);
  for (const one of [
    "GET /api/v1/camera/{device_number}/imagearray",
    "PUT /api/v1/telescope/{device_number}/trackingrate",
    "PUT /api/v1/switch/{device_number}/cancelasync",
    "GET /management/v1/configureddevices",
  ])
    expect(operations).toContain(one);
});

test.each([
  ["GET", "/api/v1/camera/0/gain", ids, undefined],
  ["GET", "/api/v1/telescope/0/axisrates", `${ids}&Axis=1`, undefined],
  ["PUT", "/api/v1/camera/0/startexposure", undefined, `${ids}&Duration=0.05&Light=True`],
  ["PUT", "/api/v1/telescope/3/slewtocoordinatesasync", undefined, `RightAscension=12.2&Declination=-21.5`],
  ["PUT", "/api/v1/focuser/0/connect", undefined, ids],
  ["GET", "/management/apiversions", ids, undefined],
] as const)("right: %s %s", (method, path, query, form) => {
  expect(requestProblems({ method, path, query, form })).toEqual([]);
});

test.each([
  ["an unknown member", "GET", "/api/v1/camera/0/grain", ids, undefined],
  ["a member in mixed case", "GET", "/api/v1/camera/0/Gain", ids, undefined],
  ["an unknown device type", "GET", "/api/v1/lamp/0/name", ids, undefined],
  ["a negative device number", "GET", "/api/v1/camera/-1/gain", ids, undefined],
  ["a read as a write", "PUT", "/api/v1/camera/0/maxadu", undefined, ids],
  ["a wrong-cased parameter", "PUT", "/api/v1/camera/0/binx", undefined, `${ids}&binx=2`],
  ["a missing parameter", "PUT", "/api/v1/camera/0/startexposure", undefined, `${ids}&Duration=1`],
  ["a decimal comma", "PUT", "/api/v1/camera/0/startexposure", undefined, `Duration=0,5&Light=True`],
  ["1 for true", "PUT", "/api/v1/telescope/0/tracking", undefined, `${ids}&Tracking=1`],
  [
    "a drive rate that does not exist",
    "PUT",
    "/api/v1/telescope/0/trackingrate",
    undefined,
    "TrackingRate=4",
  ],
  ["a query on a write", "PUT", "/api/v1/telescope/0/park", ids, ids],
  ["an id of zero", "GET", "/api/v1/camera/0/gain", "ClientID=0", undefined],
] as const)("wrong request: %s", (_, method, path, query, form) => {
  expect(requestProblems({ method, path, query, form })).not.toEqual([]);
});

test("right replies: values, errors without one, image bytes, ids that were not supplied, a date as device state", () => {
  const gain = { method: "GET", path: "/api/v1/camera/0/gain" };
  expect(replyProblems(gain, json({ ...good, Value: 12 }))).toEqual([]);
  expect(replyProblems(gain, json({ ...good, ClientTransactionID: 0, Value: 12 }))).toEqual([]);
  expect(replyProblems(gain, json({ ...good, ErrorNumber: 0x400, ErrorMessage: "no gain" }))).toEqual([]);
  expect(replyProblems(gain, { status: 400, contentType: "text/plain", body: "no camera 0" })).toEqual([]);
  const image = { method: "GET", path: "/api/v1/camera/0/imagearray" };
  expect(replyProblems(image, { status: 200, contentType: "application/imagebytes", body: "" })).toEqual([]);
  expect(replyProblems(image, json({ ...good, Type: 2, Rank: 2, Value: [[1, 2]] }))).toEqual([]);
  const state = { method: "GET", path: "/api/v1/telescope/0/devicestate" };
  const values = [
    { Name: "Tracking", Value: true },
    { Name: "UTCDate", Value: "2026-11-25T00:00:00Z" },
  ];
  expect(replyProblems(state, json({ ...good, Value: values }))).toEqual([]);
  const devices = [{ DeviceName: "A", DeviceType: "Camera", DeviceNumber: 0, UniqueID: "x" }];
  const { ErrorNumber: _, ErrorMessage: __, ...management } = good;
  expect(
    replyProblems(
      { method: "GET", path: "/management/v1/configureddevices" },
      json({ ...management, Value: devices }),
    ),
  ).toEqual([]);
});

test("wrong replies: wrong type, missing keys, wrong casing, wrong content type, a success for an unknown member", () => {
  const gain = { method: "GET", path: "/api/v1/camera/0/gain" };
  for (const reply of [
    json({ ...good, Value: "12" }),
    json({ ...good, Value: 12.5 }),
    json(good),
    json({ ...good, Value: 12, ErrorNumber: 1 }),
    json({ Value: 12, ErrorNumber: 0, ErrorMessage: "", ClientTransactionId: 1, ServerTransactionID: 1 }),
    { ...json({ ...good, Value: 12 }), contentType: "text/plain" },
    { status: 200, contentType: "application/json", body: '{"Value":12,5}' },
    { status: 204, contentType: "application/json", body: "" },
  ])
    expect(replyProblems(gain, reply)).not.toEqual([]);
  const unknown = { method: "GET", path: "/api/v1/camera/0/grain" };
  expect(replyProblems(unknown, json({ ...good, Value: 1 }))).not.toEqual([]);
  expect(replyProblems(unknown, { status: 404, contentType: "text/plain", body: "" })).toEqual([]);
});
