// The run's time on this device: takes readings of the guide's time, gives the latest moment that it can
// be now, so that no figure is ever larger than the true one.

const KEPT = 24;
const OLD = 60_000;

export class Clock {
  constructor(local = () => performance.now()) {
    this.local = local;
    this.forget();
  }

  /** After a sleep of the device, or when readings contradict each other. */
  forget() {
    this.readings = [];
    this.low = -Infinity;
    this.high = Infinity;
  }

  /** The guide's time was `guide` at some moment between `sent` and `got` of this device. */
  read(guide, sent, got) {
    this.readings.push({ low: guide - got, high: guide - sent, at: got });
    this.narrow(got);
    if (this.low > this.high) {
      this.forget();
      this.readings.push({ low: guide - got, high: guide - sent, at: got });
      this.narrow(got);
    }
  }

  narrow(now) {
    this.readings = this.readings.filter((one) => now - one.at < OLD).slice(-KEPT);
    this.low = Math.max(-Infinity, ...this.readings.map((one) => one.low));
    this.high = Math.min(Infinity, ...this.readings.map((one) => one.high));
  }

  /** Whether the guide's time is known well enough to count by it. */
  get known() {
    return this.high - this.low < 1000;
  }

  /** How far off `now` can be, in milliseconds; it errs to the late side only. */
  get error() {
    return this.high - this.low;
  }

  /** The guide's time now, in milliseconds of the run: never earlier than the true one. */
  now() {
    return this.local() + this.high;
  }
}

/** A length in milliseconds as the other faces write it: whole seconds, rounded down. */
export function figure(left) {
  const s = Math.floor(Math.max(0, left) / 1000);
  const two = (n) => String(n).padStart(2, "0");
  const [hours, mins, secs] = [Math.floor(s / 3600), Math.floor(s / 60) % 60, s % 60];
  if (hours > 0) return `${hours}:${two(mins)}:${two(secs)}`;
  return mins > 0 ? `${mins}:${two(secs)}` : `${secs} s`;
}
