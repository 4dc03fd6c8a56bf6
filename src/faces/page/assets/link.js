// The line to the guide: takes what it sends, tells how old the last word is, sends what is pressed.

/** Without a word for so long the page is stale. */
export const STALE = 1100;
const AGAIN = 700;
const ANSWER = 1500;
const STATE = 1000;

export class Link {
  /** `on` has one function for each event: card, you, heard, beat, gone. */
  constructor(clock, on) {
    this.clock = clock;
    this.on = on;
    this.key = document.querySelector("meta[name=key]").content;
    this.last = -Infinity;
    this.tap = Date.now() * 100;
    this.how = () => ({});
    this.over = false;
  }

  start() {
    this.open();
    this.ask(5);
    setInterval(() => this.watch(), 100);
    setInterval(() => this.say(), STATE);
  }

  /** Milliseconds since the last word. */
  get age() {
    return performance.now() - this.last;
  }

  open() {
    this.source?.close();
    this.opened = performance.now();
    const source = new EventSource("/events");
    this.source = source;
    const take = (name) => (event) => {
      if (source !== this.source) return;
      this.last = performance.now();
      const data = JSON.parse(event.data);
      if (name === "beat" && data.now !== null) {
        // Sent at an unknown moment before: it only says what the time is at least.
        this.clock.read(data.now, -Infinity, this.last);
      }
      this.on[name]?.(data);
    };
    // A run that is over is not asked for again.
    source.addEventListener("error", () => this.over && source.close());
    for (const name of ["card", "you", "heard", "beat"]) source.addEventListener(name, take(name));
  }

  /** A line without a word is opened anew: a phone that comes back does not always notice by itself. */
  watch() {
    if (this.over) return;
    if (this.age > STALE && performance.now() - this.opened > AGAIN) this.open();
    this.on.age?.(this.age);
  }

  async post(path, body, patience = ANSWER, keepalive = false) {
    const stop = new AbortController();
    const timer = setTimeout(() => stop.abort(), patience);
    try {
      return await fetch(path, {
        method: "POST",
        headers: { "content-type": "application/json", "x-page-key": this.key },
        body: JSON.stringify(body),
        signal: stop.signal,
        keepalive,
      });
    } finally {
      clearTimeout(timer);
    }
  }

  /** Says how this page is; the answer carries the time. */
  async say(keepalive = false) {
    if (this.over) return;
    try {
      const sent = performance.now();
      const answer = await this.post("/state", this.how(), ANSWER, keepalive);
      const got = performance.now();
      if (answer.ok) this.time((await answer.json()).now, sent, got);
      else if (answer.status === 404) this.on.gone?.();
    } catch {
      // The watch notices that nobody answers.
    }
  }

  /** Asks for the time, in so many quick rounds. */
  async ask(rounds) {
    for (let n = 0; n < rounds; n += 1) {
      try {
        const sent = performance.now();
        const answer = await fetch("/now");
        const got = performance.now();
        if (answer.ok) this.time((await answer.json()).now, sent, got);
      } catch {
        return;
      }
    }
  }

  time(now, sent, got) {
    if (now !== null) this.clock.read(now, sent, got);
  }

  /** Sends a press; gives nothing where it was handed on, else a word that says why not. */
  async press(what) {
    this.tap += 1;
    try {
      const answer = await this.post("/press", { ...what, tap: this.tap });
      if (answer.ok) return null;
      if (answer.status === 409) return (await answer.json()).why;
      return "refused";
    } catch {
      return "unsent";
    }
  }

  async role(role) {
    try {
      return (await this.post("/role", { role })).ok;
    } catch {
      return false;
    }
  }
}
