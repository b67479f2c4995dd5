import type { StepOutcome, Workbench } from "../../procedures/step.ts";

/** Why a run did not begin; nothing was changed by it. */
export class RunRefusedError extends Error {
  constructor(
    readonly kind: "safety" | "input",
    message: string,
    readonly whatToDo: string,
    readonly code = kind === "safety" ? "REFUSED_FOR_SAFETY" : "PLAN_DOES_NOT_FIT_RIG",
  ) {
    super(message);
    this.name = "RunRefusedError";
  }
}

/** The reason of work that was cut short by a stop or a lost sky: no failure of its own. */
export class CutShort extends Error {
  constructor() {
    super("cut short");
    this.name = "CutShort";
  }
}

/** Everything that the run machine has done; the machine itself only knows the order. */
export interface RunHands {
  readonly stepCount: number;
  kindOf(stepIndex: number): string;
  /** What to do with the rest of the plan when that step fails. */
  onFailure(stepIndex: number): "stop" | "continue";
  /** Whether an earlier run of this rig was cut short. */
  hasUnfinished(): boolean;

  checkPlan(signal: AbortSignal): Promise<void>;
  connect(signal: AbortSignal): Promise<void>;
  /** Puts back what earlier runs left. @throws NotRecoveredError */
  recover(signal: AbortSignal): Promise<void>;
  checkRig(signal: AbortSignal): Promise<void>;
  takeBaseline(signal: AbortSignal): Promise<void>;
  /** The dome, before the first step that looks at the Sun. */
  openUp(signal: AbortSignal): Promise<void>;
  stepInput(stepIndex: number): { bench: Workbench; ask: unknown };
  watch(onLost: (reason: string) => void, signal: AbortSignal): Promise<void>;
  retreat(): Promise<void>;
  restore(): Promise<void>;
  close(): Promise<void>;
  report(): Promise<void>;

  /** What happened, for the record. */
  stepBegins(stepIndex: number): void;
  stepEnded(stepIndex: number, outcome: StepOutcome<unknown>): void;
  skyLost(reasons: readonly string[]): void;
  stopAsked(): void;
  /** The first failure outside a step is the one that is told. */
  failed(error: unknown): void;
  /** A step did not settle in its grace time and was given up. */
  stepAbandoned(stepIndex: number): void;
}
