// Ties the page together: one state, the controls that change it, the views that show it.

class Page {
  constructor(data) {
    this.music = new Music(data);
    this.edits = new Edits(this.music);
    this.tunings = data.tunings.map((entry) => makeTuning(entry, this.music));
    this.retuned = this.tunings.find((tuning) => tuning.id === "retuned");
    this.shownTuning = this.retuned;
    this.chosen = 0; // index of the chosen chord
    this.selection = null; // {from, to} in ticks
    this.reach = colourReach([this.retuned], this.music);
    this._chooseLook();
    this.player = new Player(this.music, this.shownTuning, { onState: () => this._stateChanged() });
    this.view = new ScoreView(this);
    this.overview = new Overview(this);
    this.panel = new ChordPanel(this);
    this._wireTransport();
    this._wireTunings();
    this._wireLoop();
    this._wireTables();
    this._wirePlan();
    document.addEventListener("keydown", (event) => this._shortcut(event));
    window.addEventListener("beforeprint", () => printScore(this));
    matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => {
      this._chooseLook();
      this.refresh();
    });
    this.panel.show();
    this.refresh();
  }

  get windows() {
    return this.edits.windows;
  }

  _chooseLook() {
    const dark = matchMedia("(prefers-color-scheme: dark)").matches;
    this.painter = new Painter(this.music, dark ? LOOKS.dark : LOOKS.light, this.reach);
    paintLegend(this.painter);
  }

  /** Tell a screen reader. */
  say(text) {
    document.getElementById("announce").textContent = text;
  }

  refresh() {
    this.view.refreshChords();
    this.overview.paint();
    this._showPlace();
  }

  // --- transport ---------------------------------------------------------------------------------
  _wireTransport() {
    const at = (id) => document.getElementById(id);
    at("play").addEventListener("click", () => this.togglePlay());
    at("stop").addEventListener("click", () => this.stop());
    at("speed").addEventListener("input", (event) => {
      this.player.setSpeed(Number(event.target.value) / 100);
      at("speed-figure").textContent = `${event.target.value} %`;
    });
    at("volume").addEventListener("input", (event) => {
      this.player.setVolume(Number(event.target.value) / 100);
      at("volume-figure").textContent = `${event.target.value} %`;
    });
    this.seekBar = at("seek");
    this.seekBar.max = String(this.music.endSecond);
    this.seekBar.step = "0.25";
    this.seekBar.addEventListener("input", () => {
      this.seek(Number(this.seekBar.value));
      this.view.reveal(this.music.tick(this.player.position));
    });
    at("follow").addEventListener("change", (event) => this.setFollow(event.target.checked));
    at("closer").addEventListener("click", () => this.view.setZoom(1));
    at("wider").addEventListener("click", () => this.view.setZoom(-1));
  }

  setFollow(follow) {
    this.view.follow = follow;
    document.getElementById("follow").checked = follow;
  }

  async togglePlay() {
    if (this.player.state === "playing") {
      this.player.pause();
      return;
    }
    try {
      await this.player.play();
    } catch (error) {
      this.say(`This browser cannot play: ${error.message}`);
    }
  }

  stop() {
    this.player.stop();
    this.view.reveal(this.music.tick(this.player.position));
  }

  seek(second) {
    this.player.seek(second);
    if (!this.player.loop && this.selection) this._showSelection(null);
    this._showPlace();
    this.view.draw();
    this.overview.paint();
  }

  _stateChanged() {
    const playing = this.player.state === "playing";
    document.getElementById("play").setAttribute("aria-pressed", String(playing));
    document.getElementById("play-word").textContent = playing ? "Pause" : "Play";
    document.getElementById("hear").setAttribute("aria-pressed", String(this.player.held));
    document.getElementById("hear").textContent = this.player.held ? "Stop the chord" : "Hear it alone";
    if (playing && !this.animation) this._animate();
    if (!playing) {
      this._showPlace();
      this.view.draw();
      this.overview.paint();
    }
  }

  _animate() {
    this.animation = requestAnimationFrame(() => {
      this.animation = 0;
      if (this.player.state !== "playing") return;
      this.view.advance();
      const now = performance.now();
      if (now - (this.placedAt ?? 0) > 120) {
        this.placedAt = now;
        this._showPlace();
        this.overview.paint();
      }
      this._animate();
    });
  }

  _showPlace() {
    const second = this.player.position;
    const { bar, beat } = this.music.barBeat(this.music.tick(second) + TICK_TOLERANCE);
    const place = `bar ${bar}, beat ${Math.floor(beat + 1e-6)}`;
    document.getElementById("place-bar").textContent = place;
    document.getElementById("place-time").textContent = `${clockText(second)} of ${clockText(this.music.endSecond)}`;
    if (document.activeElement !== this.seekBar || this.player.state === "playing") {
      this.seekBar.value = String(second);
    }
    this.seekBar.setAttribute("aria-valuetext", place);
  }

  // --- tunings -----------------------------------------------------------------------------------
  _wireTunings() {
    this.choices = document.getElementById("tuning-choices");
    this.more = document.getElementById("tuning-more");
    this.more.addEventListener("change", () => {
      const tuning = this.tunings.find(({ id }) => id === this.more.value);
      if (tuning) this.setTuning(tuning);
      else this._showTunings();
    });
    this._showTunings();
  }

  _showTunings() {
    const main = this.tunings.filter(({ id }) => MAIN_TUNINGS.includes(id));
    const other = this.tunings.filter((tuning) => !main.includes(tuning));
    const focused = this.choices.contains(document.activeElement);
    this.choices.replaceChildren(...main.map((tuning) => {
      const label = document.createElement("label");
      const radio = document.createElement("input");
      radio.type = "radio";
      radio.name = "tuning";
      radio.value = tuning.id;
      radio.checked = tuning === this.shownTuning;
      radio.addEventListener("change", () => this.setTuning(tuning));
      label.title = tuning.about;
      label.append(radio, tuning.name);
      return label;
    }));
    if (focused) this.choices.querySelector(":checked")?.focus();
    this.more.replaceChildren(
      new Option("another tuning…", ""), ...other.map((tuning) => new Option(tuning.name, tuning.id)),
    );
    this.more.value = other.includes(this.shownTuning) ? this.shownTuning.id : "";
    document.getElementById("more-tunings").hidden = !other.length;
    document.getElementById("more-tunings").classList.toggle("on", other.includes(this.shownTuning));
  }

  setTuning(tuning) {
    this.shownTuning = tuning;
    this.player.setTuning(tuning);
    this._showTunings();
    this.panel.showTunings();
    this.panel.showNotes();
    this._showBarNotes();
    this.view.draw();
    this.say(`Heard in: ${tuning.name}`);
  }

  // --- chords ------------------------------------------------------------------------------------
  chooseWindow(index, { sound = false, keepNote = false } = {}) {
    if (!this.windows.length) return;
    const same = index === this.chosen;
    this.chosen = Math.min(Math.max(index, 0), this.windows.length - 1);
    const window = this.windows[this.chosen];
    this.panel.show();
    this.view.refreshChords();
    if (!keepNote) this.view.reveal(window.start, window.end);
    if (sound && same && this.player.held) this.player.letGo();
    else if (sound || this.player.held) this.panel.sound();
    this.say(`${this.music.where(window.start)}: ${chordWords(this.music, window)}`);
  }

  // --- loop --------------------------------------------------------------------------------------
  _wireLoop() {
    const at = (id) => document.getElementById(id);
    at("loop-from").max = at("loop-to").max = String(this.music.lastBar);
    at("loop-to").value = String(Math.min(4, this.music.lastBar));
    at("loop-bars").addEventListener("click", () => {
      const first = this._bar("loop-from");
      const last = Math.max(this._bar("loop-to"), first);
      at("loop-to").value = String(last);
      this.select(this.music.tickOf(first), this.music.tickOf(last + 1), { exact: true });
    });
    at("loop-chord").addEventListener("click", () => this.loopChord());
    at("loop-off").addEventListener("click", () => this.clearLoop());
  }

  _bar(id) {
    const field = document.getElementById(id);
    const bar = Math.min(Math.max(Math.round(Number(field.value)) || 1, 1), this.music.lastBar);
    field.value = String(bar);
    return bar;
  }

  loopChord() {
    const window = this.windows[this.chosen];
    if (window) this.select(window.start, window.end, { exact: true });
  }

  /** Choose a stretch of time; when done, loop it. */
  select(a, b, { done = true, exact = false } = {}) {
    let [from, to] = a < b ? [a, b] : [b, a];
    if (!exact) [from, to] = [this._snap(from, Math.floor), this._snap(to, Math.ceil)];
    from = Math.max(from, 0);
    to = Math.min(to, this.music.endTick);
    if (to <= from) return;
    this._showSelection({ from, to });
    if (!done) return;
    this.player.setLoop({ from: this.music.seconds(from), to: this.music.seconds(to) });
    this.say(`Loop from ${this.music.where(from)} to ${this.music.where(to)}`);
    this._showPlace();
  }

  _snap(tick, round) {
    const { bar, beat } = this.music.barBeat(Math.max(tick, 0));
    return this.music.tickOf(bar, round(beat - 1) + 1);
  }

  _showSelection(selection) {
    this.selection = selection;
    document.getElementById("loop-off").disabled = !selection;
    this.view.draw();
    this.overview.paint();
  }

  clearLoop() {
    this.player.setLoop(null);
    this._showSelection(null);
    this.say("No loop");
  }

  // --- tables ------------------------------------------------------------------------------------
  _wireTables() {
    this._showParts();
    for (const button of document.querySelectorAll(".jump")) {
      button.addEventListener("click", () => this.jump(button.dataset.list, Number(button.dataset.index)));
    }
    const bar = document.getElementById("notes-bar");
    bar.max = String(this.music.lastBar);
    const show = (step) => {
      bar.value = String(Number(bar.value) + step);
      this._bar("notes-bar");
      this._showBarNotes();
    };
    bar.addEventListener("change", () => show(0));
    document.getElementById("notes-before").addEventListener("click", () => show(-1));
    document.getElementById("notes-after").addEventListener("click", () => show(1));
    this._showBarNotes();
  }

  /** Go to a place of a list ("compromises", "shifts"): choose its chord, mark its last note, put the play line there. */
  jump(list, index) {
    const { tick, notes } = this.music.data[list][index];
    this.seek(this.music.seconds(tick));
    this.chooseWindow(this.music.windowIndexAt(tick, this.windows));
    this.view.reveal(tick);
    if (notes.length) this.view._showNote(notes[notes.length - 1]);
    const still = matchMedia("(prefers-reduced-motion: reduce)").matches;
    document.getElementById("score-head").scrollIntoView({ behavior: still ? "auto" : "smooth" });
    this.view.canvas.focus({ preventScroll: true });
  }

  _showParts() {
    const rows = this.music.parts.map((part, index) => {
      const row = tableRow("td", ["", "", "", ""]);
      const name = document.createElement("th");
      name.scope = "row";
      name.textContent = part.name;
      row.cells[0].replaceWith(name);
      row.cells[1].append(this._partButton("Alone", part, index, this.player.soloed));
      row.cells[2].append(this._partButton("Silent", part, index, this.player.muted));
      if (part.percussion) row.cells[3].textContent = "percussion";
      else row.cells[3].append(this._fixedBox(part, index));
      return row;
    });
    document.getElementById("parts").tBodies[0].replaceChildren(...rows);
  }

  _partButton(word, part, index, set) {
    const button = document.createElement("button");
    button.type = "button";
    button.textContent = word;
    button.setAttribute("aria-label", `${word}: ${part.name}`);
    button.setAttribute("aria-pressed", String(set.has(index)));
    button.addEventListener("click", () => {
      if (!set.delete(index)) set.add(index);
      button.setAttribute("aria-pressed", String(set.has(index)));
      this.player.applyParts();
      this.view.draw();
    });
    return button;
  }

  _fixedBox(part, index) {
    const box = document.createElement("input");
    box.type = "checkbox";
    box.checked = this.edits.fixed.has(index);
    box.disabled = this.edits.given.has(index);
    box.setAttribute("aria-label", `Leave the tuning of ${part.name} as it is`);
    box.addEventListener("change", () => this.edit((edits) => edits.setFixed(index, box.checked)));
    return box;
  }

  _showBarNotes() {
    const { music } = this;
    const bar = Number(document.getElementById("notes-bar").value);
    const table = document.getElementById("notes");
    const tunings = [...new Set([this.retuned, this.shownTuning])].filter(({ id }) => id !== "original");
    table.tHead.replaceChildren(
      tableRow("th", ["Beat", "Note", "Part", ...tunings.map(({ name }) => `${name}, cents`)]),
    );
    const from = music.tickOf(bar);
    const notes = music.notesBetween(from, music.tickOf(bar + 1)).filter((note) => music.onset[note] >= from);
    table.tBodies[0].replaceChildren(...notes.map((note) => {
      const beat = music.barBeat(music.onset[note]).beat;
      const figures = tunings.map((tuning) => {
        if (music.isPercussion(note)) return "";
        return tuning.steps(note).map(([, cents]) => signed(cents)).join(", then ");
      });
      const part = music.parts[music.part[note]].name;
      return tableRow("td", [String(beatFigure(beat)), music.noteName(note), part, ...figures]);
    }));
    if (!notes.length) table.tBodies[0].append(tableRow("td", ["", "No note begins in this bar.", "", ""]));
  }

  // --- changes -----------------------------------------------------------------------------------
  _wirePlan() {
    document.getElementById("save-plan").addEventListener("click", () => this.savePlan());
    document.getElementById("undo").addEventListener("click", () => {
      const what = this.edits.undo();
      this._edited(`Taken back: ${what}`);
    });
  }

  /** Make one change, let it be heard and shown. */
  edit(change) {
    change(this.edits);
    this._edited(`Changed: ${this.edits.history.at(-1)?.what ?? ""}`);
  }

  _edited(words) {
    const wasEdited = this.shownTuning.id === "edited";
    this.tunings = this.tunings.filter(({ id }) => id !== "edited");
    let shown = wasEdited ? this.retuned : this.shownTuning;
    if (this.edits.any) {
      shown = new EstimatedTuning(this.retuned, this.edits);
      this.tunings.splice(this.tunings.indexOf(this.retuned) + 1, 0, shown);
    }
    this.chosen = Math.min(this.chosen, this.windows.length - 1);
    this.setTuning(shown);
    this.panel.show();
    this._showParts();
    if (this.player.held) this.panel.sound();
    const count = this.edits.history.length;
    document.getElementById("undo").disabled = !count;
    document.getElementById("plan-state").textContent = count
      ? `${count === 1 ? "One change" : `${count} changes`}; the last: ${this.edits.history.at(-1).what}.`
      : "None yet.";
    this.refresh();
    this.say(words);
  }

  savePlan() {
    const link = document.createElement("a");
    const address = URL.createObjectURL(new Blob([planText(this.music, this.edits)], { type: "application/toml" }));
    link.href = address;
    link.download = this.music.data.plan_name;
    link.click();
    setTimeout(() => URL.revokeObjectURL(address), 10000);
    this.say("Plan saved");
  }

  // --- single keys -------------------------------------------------------------------------------
  _shortcut(event) {
    if (!document.getElementById("shortcuts").checked) return;
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const { tagName, type } = event.target;
    const writes = tagName === "SELECT" || (tagName === "INPUT" && ["text", "number"].includes(type));
    const usesSpace = tagName === "BUTTON" || tagName === "SUMMARY" || type === "checkbox" || type === "radio";
    if (writes || (event.key === " " && usesSpace)) return;
    const actions = {
      " ": () => this.togglePlay(),
      s: () => this.stop(),
      h: () => this.panel.toggleSound(),
      l: () => (this.selection ? this.clearLoop() : this.loopChord()),
      ",": () => this.chooseWindow(this.chosen - 1),
      ".": () => this.chooseWindow(this.chosen + 1),
    };
    const number = /^[1-9]$/.test(event.key) ? this.tunings[Number(event.key) - 1] : null;
    const action = number ? () => this.setTuning(number) : actions[event.key];
    if (!action) return;
    event.preventDefault();
    action();
  }
}

function clockText(seconds) {
  const whole = Math.floor(seconds + 1e-6);
  return `${Math.floor(whole / 60)}:${String(whole % 60).padStart(2, "0")}`;
}

function paintLegend(painter) {
  const canvas = document.getElementById("legend-scale");
  const g = sizedContext(canvas, 180, 12);
  for (let x = 0; x < 180; x++) {
    g.fillStyle = painter.colours.fill((x / 90 - 1) * painter.colours.reach);
    g.fillRect(x, 0, 1, 12);
  }
  document.getElementById("legend-low").textContent = signed(-painter.colours.reach, 0);
  document.getElementById("legend-high").textContent = signed(painter.colours.reach, 0);
}

const page = new Page(JSON.parse(document.getElementById("music-data").textContent));
globalThis.retunePage = { page, Player, renderStretch, planText, placeText, chordLabel }; // for measuring from outside
