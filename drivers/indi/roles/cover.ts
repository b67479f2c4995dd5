import { DeadlineError, ReadbackError } from "../../kit/errors.ts";
import type { Cover, CoverOptions, CoverState } from "../../roles/cover.ts";
import { CoverTravel } from "../../roles/cover-travel.ts";
import { type KeptSetting, openOrClosedSetting } from "../../roles/kept-settings.ts";
import { IndiRole, type RoleContext } from "../session/indi-role.ts";
import { ensureValues, switchSetting } from "../session/kept-setting.ts";
import { SwitchPosition } from "../session/switch-position.ts";
import { type PropertyVector, switchIn } from "../wire/property.ts";

/** CAP_PARK: PARK is over the aperture (closed), UNPARK out of the light (open). */
export class IndiCover extends IndiRole implements Cover {
  override readonly role: "cover" | "diffuser";
  protected override readonly mainProperty = "CAP_PARK";
  protected override readonly requiredProperties = ["CAP_PARK"];
  readonly #travel: CoverTravel;
  readonly #position: SwitchPosition;

  constructor(context: RoleContext, options: CoverOptions) {
    super(context);
    this.role = options.role;
    this.#travel = new CoverTravel(this.clock, options.travelSecondsMax ?? 90);
    this.#position = new SwitchPosition(context.device, "CAP_PARK");
  }

  async state(signal: AbortSignal): Promise<CoverState> {
    await this.ready(signal);
    return this.#stateOf(await this.device.refresh("CAP_PARK", {}, signal));
  }

  #stateOf(vector: PropertyVector): CoverState {
    const isMoving = vector.state === "Busy";
    this.#travel.saw(isMoving);
    // The switch of a property that stays Busy shows the wish, so where the cover is cannot be known.
    if (isMoving) return this.#travel.isOverdue ? "unknown" : "moving";
    switch (this.#position.believed(vector)) {
      case "PARK":
        return "closed";
      case "UNPARK":
        return "open";
      default:
        return "unknown";
    }
  }

  async ensureClosed(signal: AbortSignal): Promise<void> {
    await this.ready(signal);
    await this.#bringTo("closed", signal);
  }

  sendClose(signal: AbortSignal): Promise<void> {
    return this.sendSwitches("CAP_PARK", { PARK: true, UNPARK: false }, signal);
  }

  ensureOpen(signal: AbortSignal): Promise<void> {
    return this.overrulable((abort) => this.#open(abort), signal);
  }

  /** A built-in light is switched off first: it would shine into the telescope, or keep the cover from moving. */
  async #open(signal: AbortSignal): Promise<void> {
    await this.ready(signal);
    if (switchIn(this.device.property("FLAT_LIGHT_CONTROL"), "FLAT_LIGHT_ON") !== undefined) {
      await ensureValues(
        this.device,
        "FLAT_LIGHT_CONTROL",
        { FLAT_LIGHT_ON: false, FLAT_LIGHT_OFF: true },
        signal,
      );
    }
    await this.#bringTo("open", signal);
  }

  async #bringTo(wanted: "closed" | "open", signal: AbortSignal): Promise<void> {
    for (let attempt = 1; ; attempt++) {
      // Commands to a moving cover are refused or, worse, shown as if obeyed: wait first.
      const state = await this.#atRest(signal);
      if (state === wanted) return;
      if (attempt > 2) throw new ReadbackError(this.name, this.role, wanted, state);
      try {
        await this.device.change(
          "CAP_PARK",
          { PARK: wanted === "closed", UNPARK: wanted === "open" },
          {
            withinSeconds: this.#travel.commandSeconds,
            // One driver passes through Idle between Busy and Ok.
            arrived: (vector) => vector.state === "Ok" && switchIn(vector, "PARK") === (wanted === "closed"),
            settleSeconds: 2,
          },
          signal,
        );
      } catch (error) {
        // Somebody else's command in mid-motion ends like this; once more, then it is a failure.
        if (!(error instanceof ReadbackError) || attempt > 1) throw error;
        this.log.warn(
          { device: this.name, wanted },
          "the cover ended elsewhere than it was sent; sending it again",
        );
      }
    }
  }

  /** `unknown` when it says longer than its way takes that it moves. */
  async #atRest(signal: AbortSignal): Promise<CoverState> {
    const look = async () => this.#stateOf(await this.device.refresh("CAP_PARK", {}, signal));
    const state = await look();
    if (state !== "moving") return state;
    const isLate = (error: unknown) => {
      if (!(error instanceof DeadlineError)) throw error;
    };
    await this.device.untilIdle("CAP_PARK", this.#travel.leftSeconds, signal).catch(isLate);
    return look();
  }

  protected override keptSettings(): readonly KeptSetting[] {
    const position = openOrClosedSetting(
      "position",
      (signal) => this.#atRest(signal),
      (wanted, signal) => (wanted === "open" ? this.ensureOpen(signal) : this.ensureClosed(signal)),
    );
    // Light after cover: most drivers refuse it while open.
    return this.has("FLAT_LIGHT_CONTROL")
      ? [position, switchSetting(this.device, "light", "FLAT_LIGHT_CONTROL")]
      : [position];
  }

  override describe(): Readonly<Record<string, string>> {
    return {
      position: "opens and closes",
      light: this.has("FLAT_LIGHT_CONTROL") ? "built in, switched off before opening" : "none",
    };
  }
}
