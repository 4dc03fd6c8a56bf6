// Put into the page before its own files: keeps what a person would see and hear, with its moments.
(() => {
  const seen = { figures: [], bars: 0, peak: 0, contexts: [], started: [], vibrations: 0, policy: [] };
  window.seen = seen;
  const wall = () => performance.timeOrigin + performance.now();
  // When frames were drawn: a browser that is starved draws none, whatever the page does.
  let frame = wall();
  let before = frame;
  const draw = () => {
    before = frame;
    frame = wall();
    requestAnimationFrame(draw);
  };
  draw();
  document.addEventListener("DOMContentLoaded", () => {
    const figure = document.getElementById("figure");
    const note = () => seen.figures.push({ text: figure.textContent, at: wall(), drawn: wall() - Math.min(frame, before) });
    new MutationObserver(note).observe(figure, { childList: true, characterData: true, subtree: true });
    new MutationObserver(() => (seen.bars += 1)).observe(document.getElementById("bar"), { attributes: true });
  });
  document.addEventListener("securitypolicyviolation", (event) => seen.policy.push(event.violatedDirective));
  // Everything that reaches a loudspeaker passes an analyser first; what is only rendered does not.
  const connect = AudioNode.prototype.connect;
  AudioNode.prototype.connect = function (to, ...rest) {
    if (to instanceof AudioDestinationNode && this.context instanceof AudioContext) {
      const level = this.context.createAnalyser();
      level.fftSize = 2048;
      const samples = new Float32Array(level.fftSize);
      connect.call(this, level);
      setInterval(() => {
        level.getFloatTimeDomainData(samples);
        for (const sample of samples) seen.peak = Math.max(seen.peak, Math.abs(sample));
      }, 20);
      seen.contexts.push(this.context);
    }
    return connect.call(this, to, ...rest);
  };
  // Every sound that is started: how long it is, and when.
  const start = AudioBufferSourceNode.prototype.start;
  AudioBufferSourceNode.prototype.start = function (...when) {
    if (!this.loop) seen.started.push({ length: this.buffer.duration, at: wall() });
    return start.apply(this, when);
  };
  const vibrate = Navigator.prototype.vibrate;
  Navigator.prototype.vibrate = function (rhythm) {
    seen.vibrations += 1;
    return vibrate.call(this, rhythm);
  };
})();
