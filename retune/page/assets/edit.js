// What the reader changes: roots, chords, ratios, splits, joins, fixed parts; how it would sound; the plan file.

const LARGEST_TERM = 1000000; // as the reader of plan files has it
const FARTHEST_CENTS = 50; // a plan gives each ratio to the semitone it lies nearest to

/** Read "5/4" (or "7:4") as a ratio in lowest terms within one octave. Throws a sentence for the reader. */
function parseRatio(text, step) {
  const match = /^\s*(\d+)\s*(?:[/:]\s*(\d+))?\s*$/.exec(text);
  if (!match) throw new Error(`“${text}” is not a ratio of whole numbers, like 5/4`);
  let [top, bottom] = [Number(match[1]), Number(match[2] ?? 1)];
  if (top < 1 || bottom < 1 || top > LARGEST_TERM || bottom > LARGEST_TERM) {
    throw new Error(`“${text}” needs whole numbers from 1 to ${LARGEST_TERM}`);
  }
  while (top < bottom) top *= 2;
  while (top >= 2 * bottom) bottom *= 2;
  const divisor = greatestDivisor(top, bottom);
  const pair = [top / divisor, bottom / divisor];
  let off = ratioCents(pair) - 100 * step;
  if (off > 600) off -= 1200;
  if (Math.abs(off) > FARTHEST_CENTS) {
    throw new Error(`${ratioText(pair)} lies ${signed(off, 0)} cents from this tone; write one within ${FARTHEST_CENTS}`);
  }
  return pair;
}

class Edits {
  constructor(music) {
    this.music = music;
    this.reset();
  }

  reset() {
    this.windows = this.music.windows;
    this.fixed = new Set(this.music.parts.flatMap((part, i) => (part.fixed ? [i] : [])));
    this.given = new Set(this.fixed);
    this.history = [];
  }

  get any() {
    return this.history.length > 0;
  }

  _remember(what) {
    this.history.push({ windows: this.windows, fixed: new Set(this.fixed), what });
  }

  undo() {
    const last = this.history.pop();
    if (!last) return "";
    this.windows = last.windows;
    this.fixed = last.fixed;
    return last.what;
  }

  _replace(index, count, ...replacements) {
    this.windows = [...this.windows.slice(0, index), ...replacements, ...this.windows.slice(index + count)];
  }

  _where(index) {
    return this.music.where(this.windows[index].start);
  }

  _change(index, values, what) {
    this._remember(`${what}, ${this._where(index)}`);
    this._replace(index, 1, { ...this.windows[index], ...values, changed: true, retuned: true });
  }

  /** Another root. The tone that becomes the root keeps its pitch, as far as the drift limit allows. */
  setRoot(index, root) {
    const window = this.windows[index];
    const moved = window.displacement + deviation(window, (root - window.root + 12) % 12);
    const limit = this.music.data.drift_limit ?? Infinity;
    const displacement = Math.min(Math.max(moved, -limit), limit);
    this._change(index, { root, displacement }, `root ${this.music.pitchName(root, window.spelling)}`);
  }

  setChord(index, symbol) {
    const type = this.music.chordTypes.get(symbol);
    const members = type.intervals.reduce((mask, step) => mask | (1 << step), 0);
    const ratios = this.music.data.tables[type.table];
    this._change(index, { chord: symbol, members, ratios }, type.name);
  }

  setRatio(index, step, pair) {
    const ratios = this.windows[index].ratios.with(step, pair);
    this._change(index, { ratios }, `ratio ${ratioText(pair)}`);
  }

  split(index, tick) {
    const window = this.windows[index];
    if (!(tick > window.start && tick < window.end)) return false;
    this._remember(`split, ${this._where(index)}`);
    this._replace(
      index, 1, { ...window, end: tick, changed: true }, { ...window, start: tick, changed: true },
    );
    return true;
  }

  /** One window of this one and the next; the harmony of this one goes on. */
  join(index) {
    const [first, second] = [this.windows[index], this.windows[index + 1]];
    if (!second) return false;
    this._remember(`join, ${this._where(index)}`);
    this._replace(index, 2, { ...first, end: second.end, changed: true, retuned: true });
    return true;
  }

  setFixed(part, fixed) {
    this._remember(`${this.music.parts[part].name} ${fixed ? "fixed" : "free"}`);
    this.fixed = new Set(this.fixed);
    if (fixed) this.fixed.add(part);
    else this.fixed.delete(part);
  }

  /** Places where a window may be divided: onsets of notes inside it. */
  splitPlaces(index) {
    const { start, end } = this.windows[index];
    const places = this.music.notesBetween(start, end).map((note) => this.music.onset[note]);
    return [...new Set(places)].filter((tick) => tick > start && tick < end).sort((a, b) => a - b);
  }
}

/** The retuned piece with the changes laid over it: each changed chord's ratios on its root's displacement.
 *  Neighbours, held notes and the drift are not weighed again; that is the work of the conversion. */
class EstimatedTuning {
  constructor(base, edits) {
    this.id = "edited";
    this.name = "With your changes";
    this.about = "an estimate until the file is converted with the plan";
    this.base = base;
    this.music = edits.music;
    this.changed = new Map();
    for (const window of edits.windows) if (window.retuned) this._applyWindow(window, edits.fixed);
    for (const part of edits.fixed) if (!edits.given.has(part)) this._applyFixed(part);
  }

  _applyWindow(window, fixed) {
    const { music } = this;
    for (const note of music.notesBetween(window.start, window.end)) {
      if (music.isPercussion(note) || fixed.has(music.part[note])) continue;
      const step = (music.key[note] - window.root + 120) % 12;
      if (!((window.members >> step) & 1)) continue;
      this._replaceSteps(note, window, window.displacement + deviation(window, step));
    }
  }

  _replaceSteps(note, window, cents) {
    const steps = this.steps(note);
    const from = Math.max(window.start, this.music.onset[note]);
    const kept = steps.filter(([tick]) => tick < from);
    const after = steps.filter(([tick]) => tick > window.end);
    if (this.music.end[note] > window.end) after.unshift([window.end, this.offsetAt(note, window.end)]);
    this.changed.set(note, [...kept, [from, cents], ...after]);
  }

  _applyFixed(part) {
    for (let note = 0; note < this.music.count; note++) {
      if (this.music.part[note] === part) this.changed.set(note, [[this.music.onset[note], 0]]);
    }
  }

  steps(note) {
    return this.changed.get(note) ?? this.base.steps(note);
  }

  offsetAt(note, tick) {
    const steps = this.steps(note);
    return (steps.findLast(([start]) => start <= tick) ?? steps[0])[1];
  }
}

// --- the plan file -------------------------------------------------------------------------------

/** The shortest bar.beat text that leads back to exactly this tick. */
function placeText(music, tick) {
  const { bar, beat } = music.barBeat(tick);
  for (let digits = 0; digits < 12; digits++) {
    const text = beat.toFixed(digits);
    if (Number(text) >= 1 && music.tickOf(bar, Number(text)) === tick) return `${bar}.${text}`;
  }
  return `${bar}.${beat}`;
}

function plainText(text) {
  return text.replace(/\p{C}|\p{Zl}|\p{Zp}/gu, "·");
}

function ratiosText(window, ratios = window.ratios) {
  return memberSteps(window).map((step) => ratioText(ratios[step])).join(" ");
}

/** A row for a window. Ratios that its chord type takes by itself are left to the program. */
function planRow(music, window) {
  const name = (step) => asciiName(music.toneName(window.root + step, window));
  const type = music.chordTypes.get(window.chord);
  const named = type && memberSteps(window).join() === type.intervals.join();
  const usual = named && ratiosText(window) === ratiosText(window, music.data.tables[type.table]);
  const fields = [
    ["at", placeText(music, window.start)],
    ["to", placeText(music, Math.min(window.end, music.endTick))],
    ["root", name(0)],
    ...(type ? [["chord", window.chord]] : []),
    ...(named ? [] : [["tones", memberSteps(window).map(name).join(" ")]]),
    ["bass", asciiName(music.toneName(window.bass, window))],
    ...(usual ? [] : [["ratios", ratiosText(window)]]),
  ];
  return `{${fields.map(([field, value]) => `${field} = ${JSON.stringify(value)}`).join(", ")}}`;
}

/** A part's number; its name where another part has that number for a name, as names go first. */
function partText(parts, part) {
  const number = String(part + 1);
  return parts.some(({ name }) => name === number) ? parts[part].name : number;
}

function asciiName(name) {
  return name.replace(/♯/g, "#").replace(/♭/g, "b").replace(/𝄪/gu, "##").replace(/𝄫/gu, "bb");
}

/** The text of a plan that says every chord, yours and those found, and the parts to leave alone. */
function planText(music, edits) {
  const given = music.data.fixed_texts;
  const added = [...edits.fixed].filter((part) => !edits.given.has(part));
  const fixed = [...given, ...added.map((part) => partText(music.parts, part))];
  const lines = [
    `# Plan for ${plainText(music.data.source)}, saved from the page.`,
    "#",
    `# Have it obeyed:  retune convert INPUT -o out.mid --plan this-file ${music.data.arguments}`.trimEnd(),
    "# Places are bar.beat. What is not here is decided anew. Rows under “changed” are yours.",
    "",
    "format = 1",
    "",
    "# Parts whose tuning must not be touched, by name, number or program. The parts of this piece:",
    ...music.parts.map((part, i) => `#   ${i + 1}  ${plainText(part.name)}`),
    `fixed = [${fixed.map((part) => JSON.stringify(part)).join(", ")}]`,
    "",
    "sections = [",
    ...music.data.sections.map((row) => `  ${row},`),
    "]",
    "",
    "windows = [",
    ...edits.windows.flatMap((window) => [
      ...(window.changed ? ["  # changed"] : []),
      `  ${planRow(music, window)},`,
    ]),
    "]",
    "",
  ];
  return lines.join("\n");
}
