// What can be heard and felt: the guide's own WAV files over Web Audio, vibration where there is one, a
// screen that stays lit where the browser allows.

/** A sound that comes later than this would mislead; it is not played any more. */
const TOO_LATE = 700;

/** Between two sentences, in seconds. */
const PAUSE = 0.25;
/** A tone so soon behind the third pulse of a *now* begins this much later, so that they stay apart. */
const SOON = 0.35;
const APART = 0.08;
/** What is cut fades out for so long, in seconds, so that it does not click; the loudspeaker does the same. */
const FADE = 0.005;
/** What is asked takes the place of words before it. */
const ASKED = ["question", "caution", "again"];

/** Rhythms in milliseconds: on, off, on. The same as those of the tones. */
const RHYTHMS = {
  now: [70, 45, 70, 45, 70, 45, 70, 45, 70],
  prepare: [200, 120, 200],
  missed: [400, 80, 100],
  "let-go": [70, 45, 70, 45, 70, 45, 70, 45, 70],
  tick: [40],
  "ten-left": [40, 80, 40, 240, 40, 80, 40],
  "five-left": [40, 80, 40],
};

export class Sound {
  constructor() {
    this.wanted = false;
    this.buffers = new Map();
    this.tones = new Set();
    this.words = new Set();
    /** No words begin before these, in seconds of the context: behind a tone, behind other words. */
    this.leadUntil = 0;
    this.wordsUntil = 0;
    /** When the last *now* without words has rung its three pulses. */
    this.calledUntil = -Infinity;
    this.changed = () => {};
    this.lock = null;
  }

  /** `off`, `on`, `interrupted`. */
  get state() {
    if (!this.wanted) return "off";
    return this.context?.state === "running" ? "on" : "interrupted";
  }

  /** Must come from a tap: browsers keep silent before one. Gives whether it can be heard. */
  async turnOn() {
    const Context = window.AudioContext ?? window.webkitAudioContext;
    if (!Context) return false;
    if (!this.context) {
      this.context = new Context({ latencyHint: "interactive" });
      this.out = this.context.createGain();
      this.out.connect(this.context.destination);
      this.context.addEventListener("statechange", () => this.changed());
    }
    this.wanted = true;
    // Where the system knows it: a switch for silence is for calls, not for cues that were asked for.
    if (navigator.audioSession) navigator.audioSession.type = "playback";
    await this.context.resume();
    this.hum();
    await this.fetchAll();
    this.changed();
    return this.state === "on" && this.buffers.size > 0;
  }

  /** Silence that is played, so that a wireless loudspeaker does not fall asleep between two cues. */
  hum() {
    if (this.humming) return;
    const silence = this.context.createBuffer(1, this.context.sampleRate, this.context.sampleRate);
    const source = this.context.createBufferSource();
    source.buffer = silence;
    source.loop = true;
    source.connect(this.out);
    source.start();
    this.humming = source;
  }

  async fetchAll() {
    try {
      const names = await (await fetch("/sounds")).json();
      await Promise.all(names.map((name) => this.get(name)));
    } catch {
      // What is missing is fetched when it rings.
    }
  }

  async get(name) {
    if (this.buffers.has(name)) return this.buffers.get(name);
    const answer = await fetch(`/sound/${encodeURIComponent(name)}`);
    if (!answer.ok) return null;
    const buffer = await this.context.decodeAudioData(await answer.arrayBuffer());
    this.buffers.set(name, buffer);
    return buffer;
  }

  /**
   * Plays a sound of the guide that rang there `late` milliseconds ago. The rules are those of the
   * loudspeaker: now cuts everything, words follow its third pulse, no words overlap other words.
   */
  async hear({ tone, cue, sound, lead }, late) {
    if (late > TOO_LATE) return false;
    if (tone) this.shake(tone);
    const call = tone === "now" || tone === "let-go";
    if (call || cue === "now" || ASKED.includes(cue)) this.hush(this.words);
    if (call) this.hush(this.tones);
    if (cue === "now") this.calledUntil = -Infinity;
    if (!sound || this.state !== "on") return false;
    const buffer = await this.get(sound).catch(() => null);
    if (!buffer || this.state !== "on") return false;
    const now = this.context.currentTime;
    if (tone) {
      // Something missed has called for attention already.
      if (tone === "prepare" && this.rings("missed")) return true;
      const from = ["prepare", "missed"].includes(tone) ? this.behindNow(now) : now;
      if (tone !== "tick") this.leadUntil = from + lead / 1000;
      if (call) this.calledUntil = this.leadUntil;
      this.start(buffer, from, this.tones).tone = tone;
      return true;
    }
    if (cue === "now") {
      // The last pulses give way to the words.
      for (const source of this.tones) this.cut(source, Math.max(now, this.leadUntil));
    }
    const from = Math.max(now, this.leadUntil, this.wordsUntil);
    this.start(buffer, from, this.words);
    this.wordsUntil = from + buffer.duration + PAUSE;
    return true;
  }

  rings(tone) {
    return [...this.tones].some((source) => source.tone === tone);
  }

  /** From when on another tone can be told from a *now*, which ends with its third pulse. */
  behindNow(now) {
    const until = Math.max(now, this.calledUntil);
    for (const source of this.tones) {
      if (["now", "let-go"].includes(source.tone)) this.cut(source, until);
    }
    return until < this.calledUntil + SOON ? until + APART : until;
  }

  start(buffer, from, among) {
    const source = this.context.createBufferSource();
    source.buffer = buffer;
    source.level = this.context.createGain();
    source.connect(source.level).connect(this.out);
    source.addEventListener("ended", () => among.delete(source));
    among.add(source);
    source.start(from);
    return source;
  }

  /** Ends what sounds from `at` on, in seconds of the context. */
  cut(source, at) {
    const level = source.level.gain;
    level.cancelScheduledValues(0);
    level.setValueAtTime(1, at);
    level.linearRampToValueAtTime(0, at + FADE);
    source.stop(at + FADE);
  }

  hush(among) {
    for (const source of among) this.cut(source, this.context.currentTime);
    among.clear();
    if (among === this.words) this.wordsUntil = 0;
  }

  /** One sound to hear that it works. */
  try() {
    if (this.buffers.has("tone-prepare")) this.hear({ tone: "prepare", sound: "tone-prepare", lead: 0 }, 0);
  }

  shake(tone) {
    // Not every browser has it, and none shakes before a tap.
    if (RHYTHMS[tone]) navigator.vibrate?.(RHYTHMS[tone]);
  }

  /** Keeps the screen lit, where the browser allows it: it asks for https or this very computer. */
  async stayLit() {
    try {
      if (document.visibilityState === "visible" && (!this.lock || this.lock.released)) {
        this.lock = (await navigator.wakeLock?.request("screen")) ?? null;
      }
    } catch {
      this.lock = null;
    }
    return this.lit;
  }

  get lit() {
    return this.lock !== null && !this.lock.released;
  }
}
