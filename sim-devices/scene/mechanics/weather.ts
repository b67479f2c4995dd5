export interface WeatherReadings {
  /** 0 clear, 1 doubtful, 2 bad. */
  forecast: number;
  temperatureCelsius: number;
  /** Metres a second. */
  wind: number;
  windGust: number;
  /** Millimetres an hour. */
  rain: number;
  humidityPercent: number;
}

export const calmWeather: Readonly<WeatherReadings> = {
  forecast: 0,
  temperatureCelsius: 18,
  wind: 2,
  windGust: 4,
  rain: 0,
  humidityPercent: 45,
};

/** What the weather is, and what the sensor makes of it. */
export class WeatherMechanics {
  readonly actual: WeatherReadings = { ...calmWeather };
  #frozen: WeatherReadings | undefined;

  constructor(readonly note: (detail: string) => void) {}

  /** What the sensor reads. */
  get readings(): WeatherReadings {
    return this.#frozen ?? this.actual;
  }

  change(to: Partial<WeatherReadings>): void {
    Object.assign(this.actual, to);
    this.note(JSON.stringify(to));
  }

  /** Fault: the sensor goes on showing what it showed last. */
  freeze(on: boolean): void {
    this.#frozen = on ? { ...this.actual } : undefined;
  }
}
