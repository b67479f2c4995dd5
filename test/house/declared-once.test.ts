import { expect, test } from "vitest";
import { type ProtocolKind, protocols } from "../../drivers/protocols.ts";
import { type RoleName, roleNames } from "../../drivers/roles/roles.ts";
import { rigDevices } from "../../plans/rig-devices.ts";
import { serverKinds } from "../../plans/rig-file.ts";
import { sceneNames } from "../../sim-devices/scene-devices.ts";

// `plans` and `sim-devices` import nothing of the drivers: where all are seen, the compiler holds them to the same lists.

test("a rig file knows every role, in the same order, and no other", () => {
  const inRigFiles: Readonly<Record<RoleName, unknown>> = rigDevices.shape;
  expect(Object.keys(inRigFiles)).toEqual(roleNames);
});

test("a rig file knows the servers of every protocol, and no other", () => {
  const inRigFiles: Readonly<Record<ProtocolKind, unknown>> = serverKinds;
  expect(Object.keys(inRigFiles).toSorted()).toEqual(protocols.map(({ kind }) => kind).toSorted());
});

test("the simulator shows every role, and no other", () => {
  const simulated: Readonly<Record<RoleName, unknown>> = sceneNames;
  expect(Object.keys(simulated).toSorted()).toEqual(roleNames.toSorted());
});
