// The chosen chord: what it is, how it sounds in each tuning, and the form that changes it.

class ChordPanel {
  constructor(page) {
    this.page = page;
    this.music = page.music;
    const at = (id) => document.getElementById(id);
    this.root = at("edit-root");
    this.chord = at("edit-chord");
    this.ratios = at("edit-ratios");
    this.error = at("edit-error");
    this.split = at("edit-split");
    for (const type of this.music.data.chords) this.chord.append(new Option(type.name, type.symbol));
    at("chord-before").addEventListener("click", () => page.chooseWindow(page.chosen - 1));
    at("chord-after").addEventListener("click", () => page.chooseWindow(page.chosen + 1));
    this.all = at("all-tunings");
    this.all.addEventListener("click", () => {
      const open = this.all.getAttribute("aria-expanded") !== "true";
      this.all.setAttribute("aria-expanded", String(open));
      this.all.textContent = open ? "Show fewer tunings" : "Show every tuning";
      this.showTunings();
    });
    at("hear").addEventListener("click", () => this.toggleSound());
    at("chord-notes-box").addEventListener("toggle", () => this.showNotes());
    at("edit").addEventListener("submit", (event) => event.preventDefault());
    this.root.addEventListener("change", () => page.edit((e) => e.setRoot(page.chosen, Number(this.root.value))));
    this.chord.addEventListener("change", () => page.edit((e) => e.setChord(page.chosen, this.chord.value)));
    at("do-split").addEventListener("click", () => {
      page.edit((e) => e.split(page.chosen, Number(this.split.value)));
    });
    at("do-join").addEventListener("click", () => page.edit((e) => e.join(page.chosen)));
  }

  get window() {
    return this.page.windows[this.page.chosen];
  }

  /** One note for each key of the chord: the one that sounds longest in it, and when it is first heard there. */
  tones() {
    const { music, window } = this;
    if (!window) return [];
    const longest = new Map();
    for (const note of music.notesBetween(window.start, window.end)) {
      const step = (music.key[note] - window.root + 120) % 12;
      if (music.isPercussion(note) || !((window.members >> step) & 1)) continue;
      const tick = Math.max(music.onset[note], window.start);
      const length = Math.min(music.end[note], window.end) - tick;
      const known = longest.get(music.key[note]);
      if (!known || length > known.length) longest.set(music.key[note], { note, tick, length, step });
    }
    return [...longest.values()].sort((a, b) => music.key[a.note] - music.key[b.note]);
  }

  toggleSound() {
    if (this.page.player.held) this.page.player.letGo();
    else this.sound();
  }

  sound() {
    this.page.player.hold(this.tones());
  }

  // --- showing -----------------------------------------------------------------------------------
  show() {
    const { music, window, page } = this;
    document.getElementById("chord-panel").hidden = !window; // percussion alone has no chords
    if (!window) return;
    const name = document.getElementById("chord-name");
    const numbers = document.createElement("small");
    numbers.textContent = proportion(window);
    name.replaceChildren(chordWords(music, window), " ", numbers);
    const bass = window.bass === window.root ? "" : `, ${music.toneName(window.bass, window)} in the bass`;
    document.getElementById("chord-place").textContent =
      `${sentence(music.where(window.start))} to ${music.where(window.end)}${bass}; ` +
      `root at ${signed(window.displacement)} cents`;
    document.getElementById("chord-before").disabled = page.chosen === 0;
    document.getElementById("chord-after").disabled = page.chosen === page.windows.length - 1;
    this.showTunings();
    this.showNotes();
    this._showForm();
  }

  /** A row a tuning: how far each tone of the chord is from its pure ratio to the root. */
  showTunings() {
    const { music, window, page } = this;
    const table = document.getElementById("chord-tunings");
    const byStep = new Map();
    for (const tone of this.tones()) if (!byStep.has(tone.step)) byStep.set(tone.step, tone);
    const tones = [...byStep.values()].sort((a, b) => a.step - b.step);
    const [base, ...others] = tones;
    const pitch = (step) => music.toneName(window.root + step, window);
    table.caption.textContent = base
      ? `This chord in each tuning: cents off pure, counted from ${pitch(base.step)}`
      : "No tone of this chord sounds here.";
    table.tHead.replaceChildren(
      base ? tableRow("th", ["Hear it in", ...others.map((tone) => pitch(tone.step))]) : "",
    );
    const every = this.all.getAttribute("aria-expanded") === "true";
    const first = (tuning) => MAIN_TUNINGS.includes(tuning.id) || tuning === page.shownTuning;
    const rows = base ? page.tunings.filter((tuning) => every || first(tuning)) : [];
    table.tBodies[0].replaceChildren(...rows.map((tuning) => {
      const from = tuning.offsetAt(base.note, base.tick) - deviation(window, base.step);
      const figures = others.map(({ note, tick, step }) => {
        return signed(tuning.offsetAt(note, tick) - deviation(window, step) - from);
      });
      const row = tableRow("td", ["", ...figures], "number");
      row.classList.toggle("on", tuning === page.shownTuning);
      const button = document.createElement("button");
      button.type = "button";
      button.textContent = tuning.name;
      button.addEventListener("click", () => {
        page.setTuning(tuning);
        if (!page.player.held) this.sound();
      });
      row.cells[0].className = "";
      row.cells[0].append(button);
      return row;
    }));
  }

  showNotes() {
    if (!document.getElementById("chord-notes-box").open || !this.window) return;
    const { music, window, page } = this;
    const table = document.getElementById("chord-notes");
    table.tHead.replaceChildren(tableRow("th", ["Note", "Part", "From", page.shownTuning.name]));
    const notes = music.notesBetween(window.start, window.end).filter((note) => !music.isPercussion(note));
    table.tBodies[0].replaceChildren(...notes.map((note) => {
      const tick = Math.max(music.onset[note], window.start);
      const cents = page.shownTuning.offsetAt(note, tick);
      const part = music.parts[music.part[note]].name;
      return tableRow("td", [music.noteName(note), part, beatText(music, tick), signed(cents)]);
    }));
  }

  // --- the form ----------------------------------------------------------------------------------
  _showForm() {
    const { music, window, page } = this;
    const names = [...Array(12).keys()].map((pc) => new Option(music.pitchName(pc, window.spelling), String(pc)));
    this.root.replaceChildren(...names);
    this.root.value = String(window.root);
    const other = [...this.chord.options].find((option) => option.value === "");
    if (!window.chord && !other) this.chord.prepend(new Option("no named chord", ""));
    else if (window.chord) other?.remove();
    this.chord.value = window.chord;
    this.error.textContent = "";
    this.ratios.replaceChildren(...memberSteps(window).filter((step) => step).map((step) => this._ratioField(step)));
    const places = page.edits.splitPlaces(page.chosen);
    this.split.replaceChildren(...places.map((tick) => new Option(music.where(tick), String(tick))));
    this.split.disabled = !places.length;
    if (!places.length) this.split.append(new Option("no note begins inside"));
    document.getElementById("do-split").disabled = !places.length;
    document.getElementById("do-join").disabled = page.chosen >= page.windows.length - 1;
  }

  _ratioField(step) {
    const { music, window, page } = this;
    const label = document.createElement("label");
    const input = document.createElement("input");
    const size = document.createElement("small");
    const name = music.toneName(window.root + step, window);
    input.type = "text";
    input.inputMode = "text";
    input.autocomplete = "off";
    input.spellcheck = false;
    input.value = ratioText(window.ratios[step]);
    input.setAttribute("list", `usual-${step}`);
    input.dataset.step = String(step);
    size.textContent = `${signed(deviation(window, step))} cents`;
    input.addEventListener("change", () => {
      try {
        const pair = parseRatio(input.value, step);
        input.removeAttribute("aria-invalid");
        if (ratioText(pair) === ratioText(this.window.ratios[step])) {
          input.value = ratioText(pair);
          this.error.textContent = "";
        } else {
          page.edit((edits) => edits.setRatio(page.chosen, step, pair));
        }
      } catch (error) {
        input.setAttribute("aria-invalid", "true");
        this.error.textContent = error.message;
      }
    });
    label.append(name, input, size, this._usual(step));
    return label;
  }

  /** The ratios usually taken for a step, as suggestions. */
  _usual(step) {
    const list = document.createElement("datalist");
    list.id = `usual-${step}`;
    for (const pair of this.music.data.usual_ratios[step]) list.append(new Option("", ratioText(pair)));
    return list;
  }
}

function sentence(text) {
  return text.charAt(0).toUpperCase() + text.slice(1);
}

function beatText(music, tick) {
  const { bar, beat } = music.barBeat(tick);
  return `${bar}.${beatFigure(beat)}`;
}

function tableRow(kind, texts, className = "") {
  const row = document.createElement("tr");
  for (const text of texts) {
    const cell = document.createElement(kind);
    cell.textContent = text;
    if (kind === "th") cell.scope = "col";
    if (className) cell.className = className;
    row.append(cell);
  }
  return row;
}
