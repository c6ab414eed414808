// The score view: a canvas as wide as the window on a strip as wide as the music, chord buttons above the notes,
// the drift curve below. Everything on it can also be reached with the keyboard.

const ZOOMS = [6, 9, 14, 20, 30, 44, 64, 96, 140]; // pixels a quarter note
const MANY_ROWS = 60; // up to here rows are high enough for figures
const FOLLOW_AT = 0.82; // turn the page when the play line has come this far

class ScoreView {
  /** `page` gives: music, tuning, shownTuning, windows, edited state, and takes: seek, chooseWindow, say. */
  constructor(page) {
    this.page = page;
    this.music = page.music;
    this.scroller = document.getElementById("score-scroll");
    this.strip = document.getElementById("score-strip");
    this.canvas = document.getElementById("score-canvas");
    this.chordLayer = document.getElementById("score-chords");
    this.playLine = document.getElementById("play-line");
    this.tip = document.getElementById("note-tip");
    this.note = -1; // note under the keyboard or the pointer
    this.follow = true;
    this.chordButtons = new Map();
    const keys = [];
    for (let i = 0; i < this.music.count; i++) keys.push(this.music.key[i]);
    this.lowKey = keys.length ? keys.reduce((a, b) => Math.min(a, b)) - 1 : 55;
    this.highKey = keys.length ? keys.reduce((a, b) => Math.max(a, b)) + 1 : 79;
    this.zoom = this._firstZoom();
    this.measure();
    this._listen();
  }

  _firstZoom() {
    const lengths = this.music.windows.map(({ start, end }) => (end - start) / this.music.ticksPerQuarter);
    const usual = lengths.sort((a, b) => a - b)[lengths.length >> 1] ?? 1;
    const at = ZOOMS.findIndex((zoom) => zoom * usual >= 60); // room for the usual chord's name and ratios
    return at < 0 ? 7 : Math.min(Math.max(at, 3), 7);
  }

  // --- geometry ----------------------------------------------------------------------------------
  measure() {
    this.width = this.scroller.clientWidth;
    this.perTick = ZOOMS[this.zoom] / this.music.ticksPerQuarter;
    const rows = this.highKey - this.lowKey + 1;
    const least = rows <= MANY_ROWS ? FIGURE_HEIGHT : 8;
    this.rowHeight = Math.min(Math.max(Math.floor(480 / rows), least), 14) + (this.zoom >= 8 ? 3 : 0);
    this.height = Frame.height(rows, this.rowHeight);
    const full = GUTTER + this.music.endTick * this.perTick + 24;
    this.strip.style.width = `${Math.max(full, this.width)}px`;
    this.strip.style.height = `${this.height}px`;
    this.g = sizedContext(this.canvas, this.width, this.height);
    this.chordLayer.replaceChildren();
    this.chordButtons.clear();
  }

  frame() {
    const from = this.scroller.scrollLeft / this.perTick;
    return new Frame({
      left: GUTTER,
      perTick: this.perTick,
      fromTick: from,
      toTick: from + (this.width - GUTTER) / this.perTick,
      top: RULER + CHORD_ROW,
      rowHeight: this.rowHeight,
      lowKey: this.lowKey,
      highKey: this.highKey,
      width: this.width,
    });
  }

  setZoom(step) {
    const middle = this.frame().tick(this.width / 2);
    this.zoom = Math.min(Math.max(this.zoom + step, 0), ZOOMS.length - 1);
    this.measure();
    this.scroller.scrollLeft = middle * this.perTick - this.width / 2 + GUTTER;
    this.draw();
  }

  /** Bring a stretch of time into view. */
  reveal(tick, until = tick) {
    const frame = this.frame();
    const inside = tick >= frame.fromTick && until <= frame.toTick - 10 / this.perTick;
    if (!inside) this.scroller.scrollLeft = Math.max(tick * this.perTick - 30, 0);
    this.draw();
  }

  // --- drawing -----------------------------------------------------------------------------------
  draw() {
    if (this.pending) return;
    this.pending = requestAnimationFrame(() => {
      this.pending = 0;
      this.paint();
    });
  }

  paint() {
    const { g, page, music } = this;
    const frame = this.frame();
    const painter = page.painter;
    painter.paintGround(g, frame);
    this._paintLoop(g, frame);
    painter.paintBars(g, frame);
    painter.paintNotes(g, frame, page.shownTuning, {
      dimmed: (part) => !page.player.isAudible(part),
      note: this.note,
      tick: page.player.state === "playing" ? music.tick(page.player.position) : -1,
    });
    painter.paintDrift(g, frame, page.windows, { labelled: false });
    painter.paintCompromises(g, frame, music.data.compromises);
    painter.paintKeys(g, frame);
    this._labelDrift(g, frame);
    this._placeChords(frame);
    this.placePlayLine(frame);
  }

  _labelDrift(g, frame) {
    const { reach, limit } = driftReach(this.music, this.page.windows);
    const middle = frame.driftTop + DRIFT_ROW / 2;
    this.page.painter._labelDrift(g, frame, middle, (DRIFT_ROW / 2 - 10) / reach, limit ?? reach);
  }

  _paintLoop(g, frame) {
    const { selection } = this.page;
    if (!selection) return;
    g.fillStyle = this.page.painter.look.loop;
    const from = frame.x(selection.from);
    g.fillRect(from, 0, frame.x(selection.to) - from, frame.driftTop + DRIFT_ROW);
  }

  placePlayLine(frame = this.frame()) {
    const { player } = this.page;
    const x = frame.x(this.music.tick(player.position));
    const seen = x >= GUTTER - 1 && x <= this.width;
    this.playLine.style.transform = `translateX(${seen ? x : -10}px)`;
    return x;
  }

  /** One step of the animation while the music plays. */
  advance() {
    const x = this.placePlayLine();
    if (this.follow && (x > this.width * FOLLOW_AT || x < GUTTER - 2)) {
      const tick = this.music.tick(this.page.player.position);
      this.ownScroll = true;
      this.scroller.scrollLeft = Math.max(tick * this.perTick - this.width * 0.12, 0);
    }
    this.draw();
  }

  // --- chord buttons -----------------------------------------------------------------------------
  /** Keep buttons for the chords in view and a little beyond, and for the one that has the focus. */
  _placeChords(frame) {
    const { windows } = this.page;
    const margin = this.width / this.perTick / 2;
    const first = this.music.windowIndexAt(frame.fromTick - margin, windows);
    const wanted = new Set();
    for (let i = first; i < windows.length && windows[i].start < frame.toTick + margin; i++) wanted.add(i);
    if (windows.length) wanted.add(this.page.chosen);
    for (const [index, button] of this.chordButtons) {
      if (!wanted.has(index)) {
        button.remove();
        this.chordButtons.delete(index);
      }
    }
    for (const index of wanted) if (!this.chordButtons.has(index)) this._addChord(index);
  }

  _addChord(index) {
    const window = this.page.windows[index];
    const button = document.createElement("button");
    const width = (window.end - window.start) * this.perTick;
    button.type = "button";
    button.className = "chord";
    button.tabIndex = index === this.page.chosen ? 0 : -1;
    button.setAttribute("aria-pressed", String(index === this.page.chosen));
    button.style.left = `${GUTTER + window.start * this.perTick}px`;
    button.style.width = `${Math.max(width - 2, 3)}px`;
    button.classList.toggle("changed", window.changed);
    button.classList.toggle("narrow", width < 16);
    const name = document.createElement("b");
    name.textContent = this._label(window, width);
    const ratios = document.createElement("span");
    ratios.textContent = fits(proportion(window), 6.2, width) ? proportion(window) : "";
    button.append(name, ratios);
    button.setAttribute(
      "aria-label",
      `${this.music.where(window.start)}: ${chordWords(this.music, window)}, ${proportion(window)}, ` +
        `root ${signed(window.displacement)} cents${window.changed ? ", changed" : ""}`,
    );
    button.title = `${chordWords(this.music, window)}  ${proportion(window)}`;
    button.addEventListener("click", () => this.page.chooseWindow(index, { sound: true }));
    button.addEventListener("keydown", (event) => this._chordKey(event, index));
    const later = [...this.chordButtons.keys()].filter((other) => other > index);
    const next = this.chordButtons.get(later.reduce((a, b) => Math.min(a, b), Infinity));
    this.chordLayer.insertBefore(button, next ?? null); // read in order of time
    this.chordButtons.set(index, button);
  }

  /** As much of a chord's name as there is room for; a root alone would read as a major triad, so it gets dots. */
  _label(window, width) {
    const label = chordLabel(this.music, window);
    const plain = chordLabel(this.music, { ...window, bass: window.root });
    const root = this.music.rootName(window);
    const short = plain === root ? root : `${root}…`;
    return [label, plain].find((text) => fits(text, 7.6, width)) ?? short;
  }

  _chordKey(event, index) {
    const last = this.page.windows.length - 1;
    const target = { ArrowLeft: index - 1, ArrowRight: index + 1, Home: 0, End: last }[event.key];
    if (target === undefined) return;
    event.preventDefault();
    event.stopPropagation();
    const next = Math.min(Math.max(target, 0), last);
    this.page.chooseWindow(next);
    this.paint();
    this.chordButtons.get(next)?.focus({ preventScroll: true });
  }

  /** Chords have changed, or another one is chosen: build the buttons anew. */
  refreshChords() {
    const focused = this.chordLayer.contains(document.activeElement);
    this.chordLayer.replaceChildren();
    this.chordButtons.clear();
    this._placeChords(this.frame());
    if (focused) this.chordButtons.get(this.page.chosen)?.focus({ preventScroll: true });
    this.draw();
  }

  // --- pointer and keys --------------------------------------------------------------------------
  _listen() {
    this.scroller.addEventListener("scroll", () => this.draw(), { passive: true });
    this.scroller.addEventListener("wheel", () => this.page.setFollow(false), { passive: true });
    this.scroller.addEventListener("touchmove", () => this.page.setFollow(false), { passive: true });
    new ResizeObserver(() => {
      if (this.scroller.clientWidth === this.width) return;
      this.measure();
      this.draw();
    }).observe(this.scroller);
    this.canvas.addEventListener("pointermove", (event) => this._hover(event));
    this.canvas.addEventListener("pointerleave", () => this._showNote(-1));
    this.canvas.addEventListener("pointerdown", (event) => this._press(event));
    this.canvas.addEventListener("keydown", (event) => this._key(event));
    this.canvas.addEventListener("blur", () => this._showNote(-1));
  }

  _at(event) {
    const box = this.canvas.getBoundingClientRect();
    return { x: event.clientX - box.left, y: event.clientY - box.top, frame: this.frame() };
  }

  _noteAt({ x, y, frame }) {
    const tick = frame.tick(x);
    const slack = 2 / this.perTick;
    if (x < GUTTER || y < frame.top || y > frame.bottom) return -1;
    let best = -1;
    let nearest = this.rowHeight * 0.75;
    for (const note of this.music.notesBetween(tick - slack, tick + slack)) {
      const { y: top } = this.page.painter.box(frame, note, this.page.shownTuning.offsetAt(note, tick));
      const distance = Math.abs(top + this.rowHeight / 2 - y);
      if (distance < nearest) [best, nearest] = [note, distance];
    }
    return best;
  }

  _hover(event) {
    if (this.dragFrom !== undefined) {
      const { frame, x } = this._at(event);
      this.page.select(this.dragFrom, frame.tick(x), { done: false });
      return;
    }
    this._showNote(this._noteAt(this._at(event)));
  }

  _press(event) {
    const at = this._at(event);
    const tick = Math.max(at.frame.tick(at.x), 0);
    const note = this._noteAt(at);
    if (event.pointerType === "touch") {
      if (note >= 0) this._choose(note, tick);
      else this.page.seek(this.music.seconds(tick));
      return;
    }
    if (note >= 0) {
      this._choose(note, tick);
      return;
    }
    this.dragFrom = tick;
    this.canvas.setPointerCapture(event.pointerId);
    const release = (up) => {
      const to = this._at(up).frame.tick(this._at(up).x);
      this.dragFrom = undefined;
      if (Math.abs(to - tick) * this.perTick > 6) this.page.select(tick, to, { done: true });
      else this.page.seek(this.music.seconds(tick));
    };
    this.canvas.addEventListener("pointerup", release, { once: true });
  }

  _choose(note, tick) {
    this._showNote(note);
    this.page.chooseWindow(this.music.windowIndexAt(tick, this.page.windows), { keepNote: true });
  }

  _key(event) {
    const { music } = this;
    if (!music.count) return;
    const start = this.note < 0 ? Math.max(upperBound(music.onset, this.frame().fromTick) - 1, 0) : this.note;
    const moves = {
      ArrowRight: () => (this.note < 0 ? start : Math.min(start + 1, music.count - 1)),
      ArrowLeft: () => Math.max(start - 1, 0),
      ArrowUp: () => this._neighbour(start, 1),
      ArrowDown: () => this._neighbour(start, -1),
      Home: () => 0,
      End: () => music.count - 1,
    };
    if (event.key === "Enter" && this.note >= 0) {
      event.preventDefault();
      this._choose(this.note, music.onset[this.note]);
      return;
    }
    if (!moves[event.key]) return;
    event.preventDefault();
    event.stopPropagation();
    const note = moves[event.key]();
    this.reveal(music.onset[note], Math.min(music.end[note], music.onset[note] + 200 / this.perTick));
    this._showNote(note);
    this.page.say(this.describe(note));
  }

  /** The next note up or down among those that sound with this one. */
  _neighbour(note, direction) {
    const { music } = this;
    let best = note;
    for (const other of music.notesBetween(music.onset[note], music.onset[note] + 1)) {
      const apart = (music.key[other] - music.key[note]) * direction;
      const bestApart = (music.key[best] - music.key[note]) * direction;
      if (apart > 0 && (best === note || apart < bestApart)) best = other;
    }
    return best;
  }

  describe(note) {
    const { music, page } = this;
    const steps = page.shownTuning.steps(note);
    const figures = steps.map(([, cents]) => signed(cents)).join(", then ");
    const part = music.parts[music.part[note]].name;
    const tuned = music.isPercussion(note) ? "percussion, not tuned" : `${figures} cents`;
    return `${music.noteName(note)}, ${tuned}, ${part}, ${music.where(music.onset[note])}`;
  }

  _showNote(note) {
    if (note === this.note && note < 0) return;
    this.note = note;
    this.tip.hidden = note < 0;
    if (note >= 0) {
      const frame = this.frame();
      const box = this.page.painter.box(frame, note, this.page.shownTuning.steps(note)[0][1]);
      this.tip.textContent = this.describe(note);
      const left = Math.min(Math.max(box.x, 4), Math.max(this.width - this.tip.offsetWidth - 6, 4));
      this.tip.style.left = `${left}px`;
      this.tip.style.top = `${box.y > frame.top + 50 ? box.y - 30 : box.y + box.height + 8}px`;
    }
    this.draw();
  }
}

/** Whether a text of letters about so wide finds room in a chord's button. */
function fits(text, letterWidth, width) {
  return text.length * letterWidth + 10 <= width;
}

/** The whole piece at a glance: the drift, the compromises, the part in view, and where the music is. */
class Overview {
  constructor(page) {
    this.page = page;
    this.canvas = document.getElementById("overview");
    new ResizeObserver(() => this.paint()).observe(this.canvas.parentElement);
    this.canvas.addEventListener("pointerdown", (event) => {
      const box = this.canvas.getBoundingClientRect();
      const tick = ((event.clientX - box.left) / box.width) * page.music.endTick;
      page.seek(page.music.seconds(tick));
      page.view.reveal(tick);
    });
  }

  paint() {
    const { page } = this;
    const { music } = page;
    const { look } = page.painter;
    const width = this.canvas.parentElement.clientWidth;
    const height = 44;
    const g = sizedContext(this.canvas, width, height);
    const x = (tick) => (tick / Math.max(music.endTick, 1)) * width;
    g.fillStyle = look.shade;
    g.fillRect(0, 0, width, height);
    if (page.selection) {
      g.fillStyle = look.loop;
      g.fillRect(x(page.selection.from), 0, x(page.selection.to) - x(page.selection.from), height);
    }
    const { reach } = driftReach(music, page.windows);
    g.fillStyle = look.line;
    g.fillRect(0, height / 2, width, 1);
    g.strokeStyle = look.drift;
    g.lineWidth = 1.5;
    g.beginPath();
    page.windows.forEach((window, i) => {
      const y = height / 2 - (window.displacement / reach) * (height / 2 - 6);
      if (i) g.lineTo(x(window.start), y);
      else g.moveTo(x(window.start), y);
      g.lineTo(x(window.end), y);
    });
    g.stroke();
    g.fillStyle = look.mark;
    for (const { tick } of music.data.compromises) g.fillRect(x(tick) - 0.75, height - 7, 1.5, 7);
    const frame = page.view.frame();
    g.strokeStyle = look.quiet;
    g.lineWidth = 1;
    g.strokeRect(x(frame.fromTick) + 0.5, 0.5, Math.min(x(frame.toTick), width) - x(frame.fromTick) - 1, height - 1);
    g.fillStyle = look.play;
    g.fillRect(x(music.tick(page.player.position)) - 1, 0, 2, height);
  }
}
