// A replay on the page: a scrubber, moves, the list of steps and marks, another record beside, and what a
// drill asks. It sends moves and answers; where the replay is, the guide's side says.

const $ = (id) => document.getElementById(id);

/** A finger that slides sends so often, in milliseconds, and its last place always. */
const SLIDE = 150;
/** A step of the scrubber, as in the page. */
const STEP = 1000;
/** After the hand has let go, the scrubber follows the replay again. */
const LET_GO = 600;
/** While time goes on, a screen reader hears of a new place so often. */
const SPEAK = 5000;

export class Replay {
  /** `press` sends a press and gives why it was not taken, or nothing. */
  constructor(press) {
    this.press = press;
    this.held = -Infinity;
    this.sent = -Infinity;
    this.spoke = -Infinity;
    this.listed = false;
    const scrub = $("scrub");
    scrub.addEventListener("input", () => this.slide());
    scrub.addEventListener("change", () => this.slide(true));
    for (const button of document.querySelectorAll("#moves [data-move]")) {
      button.addEventListener("click", () => this.move(button.dataset.move));
    }
    $("leave").addEventListener("click", () => this.press({ press: "stop" }));
    $("show-me").addEventListener("click", () => this.press({ press: "again" }));
    $("time-form").addEventListener("submit", (event) => {
      event.preventDefault();
      const text = $("time").value.trim();
      if (text) this.press({ press: "typed", text });
      $("time").value = "";
    });
  }

  move(text) {
    this.spoke = -Infinity;
    return this.press({ press: "move", text });
  }

  slide(last = false) {
    const now = performance.now();
    this.held = now;
    clearTimeout(this.later);
    const send = () => {
      this.sent = performance.now();
      this.move(`${$("scrub").value}ms`);
    };
    if (last || now - this.sent >= SLIDE) send();
    else this.later = setTimeout(send, SLIDE);
  }

  /** Shows where it is; `may`: whether this page moves it. */
  draw(card, may) {
    const head = card?.head ?? null;
    $("reel").hidden = head === null || !may;
    this.beside(head);
    if (head === null) return;
    const text = [head.line, head.told].filter(Boolean).join(" — ");
    if ($("place-line").textContent !== text) $("place-line").textContent = text;
    this.scrub(head);
    $("play").textContent = head.running ? "pause" : "play";
    $("idle").setAttribute("aria-pressed", String(head.shortens));
    $("stops").setAttribute("aria-pressed", String(head.stops));
    $("list").hidden = head.asks !== null;
    $("stops").hidden = head.asks !== null;
    this.asks(head.asks);
    if (!this.listed && head.asks === null) this.list();
    this.here(head.at);
  }

  scrub(head) {
    const scrub = $("scrub");
    const now = performance.now();
    if (scrub.min !== String(head.first)) scrub.min = head.first;
    // A whole number of steps, so that the last one reaches the end; further than it nothing goes.
    const end = head.first + Math.ceil((head.last - head.first) / STEP) * STEP;
    if (scrub.max !== String(end)) scrub.max = end;
    if (now - this.held < LET_GO) return;
    scrub.value = head.at;
    // A place that is spoken all the time is noise.
    if (head.running && now - this.spoke < SPEAK) return;
    this.spoke = now;
    if (scrub.getAttribute("aria-valuetext") !== head.spoken) scrub.setAttribute("aria-valuetext", head.spoken);
  }

  asks(asks) {
    $("asks").hidden = asks === null;
    const key = JSON.stringify(asks);
    if (asks === null || this.asked === key) return;
    this.asked = key;
    paragraphs($("verdicts"), asks.told);
    $("asked").textContent = asks.question ?? "";
    const buttons = asks.choices.map((text, at) => button(`${at + 1}  ${text}`, () => this.press({ press: "answer", number: at + 1 })));
    $("choices").replaceChildren(...buttons);
    $("time-form").hidden = !(asks.types && asks.question);
    $("show-me").hidden = !asks.question;
  }

  async list() {
    this.listed = true;
    try {
      const places = await (await fetch("/places")).json();
      this.places = places;
      const rows = places.map((place) => {
        const row = document.createElement("li");
        const one = button(`${place.time}  ${place.mark ? "mark: " : ""}${place.text}`, () => this.move(`${place.at}ms`));
        if (place.mark) one.className = "mark";
        row.append(one);
        return row;
      });
      $("places").replaceChildren(...rows);
      $("list-head").textContent = `Steps and marks (${places.length})`;
    } catch {
      this.listed = false;
    }
  }

  /** The place in the list that was passed last. */
  here(at) {
    if (!this.places) return;
    let last = -1;
    this.places.forEach((place, n) => {
      if (place.at <= at) last = n;
    });
    if (last === this.marked) return;
    const rows = $("places").children;
    rows[this.marked]?.firstElementChild.removeAttribute("aria-current");
    rows[last]?.firstElementChild.setAttribute("aria-current", "true");
    this.marked = last;
  }

  beside(head) {
    const other = head?.beside ?? null;
    $("beside").hidden = other === null;
    if (other === null) return;
    const [name, left, card] = other;
    const lines = [
      ["h2", "", `Beside: ${name}`],
      ["p", "", card.place],
      ["p", "", card.hands && `In hand: ${card.hands}`],
      ["p", "act", card.ended ?? card.question ?? card.act],
      ["p", "", [card.far, card.window?.mark, left].filter(Boolean).join("  ")],
      ...card.notices.map((text) => ["p", "", text]),
    ].filter(([, , text]) => text);
    const key = JSON.stringify(lines);
    if (this.other === key) return;
    this.other = key;
    $("beside").replaceChildren(
      ...lines.map(([kind, looks, text]) => {
        const line = document.createElement(kind);
        if (looks) line.className = looks;
        line.textContent = text;
        return line;
      }),
    );
  }
}

function button(text, act) {
  const made = document.createElement("button");
  made.type = "button";
  made.textContent = text;
  made.addEventListener("click", act);
  return made;
}

function paragraphs(node, texts) {
  node.replaceChildren(
    ...texts.map((text) => {
      const line = document.createElement("p");
      line.textContent = text;
      return line;
    }),
  );
}
