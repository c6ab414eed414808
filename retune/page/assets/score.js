// The music as the page knows it: notes, clock, bars, chords, and the tunings one can switch between.
// All ticks count from the start of the file; all offsets are cents from equal temperament at the reference pitch.

const TICK_EPSILON = 1e-9;

/** First index in an ascending array whose value is greater than x. */
function upperBound(array, x) {
  let low = 0;
  let high = array.length;
  while (low < high) {
    const middle = (low + high) >> 1;
    if (array[middle] <= x) low = middle + 1;
    else high = middle;
  }
  return low;
}

/** Nearest whole number, halves to the even one, as the program that reads the plan rounds. */
function roundHalfEven(x) {
  const floor = Math.floor(x);
  const rest = x - floor;
  if (rest !== 0.5) return Math.round(x);
  return floor % 2 === 0 ? floor : floor + 1;
}

/** A beat to three figures: 1, 2.5, 3.33, as the program writes places. */
function beatFigure(beat) {
  const digits = beat < 10 ? 2 : 1;
  const scale = 10 ** digits;
  if (Number.isInteger(beat * 8)) return roundHalfEven(beat * scale) / scale; // exact, so it may be a tie
  return Number(beat.toFixed(digits));
}

/** Cents with a sign and a true minus: −13.7, +2.0, 0.0. */
function signed(cents, digits = 1) {
  const text = Math.abs(cents).toFixed(digits);
  if (Number(text) === 0) return text;
  return (cents < 0 ? "−" : "+") + text;
}

function ratioCents([top, bottom]) {
  return 1200 * Math.log2(top / bottom);
}

function greatestDivisor(a, b) {
  while (b) [a, b] = [b, a % b];
  return a;
}

class Music {
  constructor(data) {
    this.data = data;
    this.parts = data.parts;
    this.count = data.notes.key.length;
    this.key = data.notes.key;
    this.velocity = data.notes.velocity;
    this.part = data.notes.part;
    this.onset = new Float64Array(this.count);
    this.end = new Float64Array(this.count);
    let tick = 0;
    for (let i = 0; i < this.count; i++) {
      tick += data.notes.step[i];
      this.onset[i] = tick;
      this.end[i] = tick + data.notes.length[i];
    }
    this.endTick = data.end_tick;
    this.onsetSeconds = this.onset.map((t) => this.seconds(t));
    this.endSeconds = this.end.map((t) => this.seconds(t));
    this.endSecond = this.seconds(this.endTick);
    this.latestEnd = new Float64Array(this.count); // latest end of this note and all before it
    let latest = 0;
    for (let i = 0; i < this.count; i++) this.latestEnd[i] = latest = Math.max(latest, this.end[i]);
    this.windows = data.windows.start.map((_, i) => this._window(i));
    this.chordTypes = new Map(data.chords.map((chord) => [chord.symbol, chord]));
  }

  _window(i) {
    const w = this.data.windows;
    const chord = w.chord[i] < 0 ? null : this.data.chords[w.chord[i]];
    return {
      start: w.start[i],
      end: w.end[i],
      root: w.root[i],
      bass: w.bass[i],
      chord: chord ? chord.symbol : "",
      members: w.members[i],
      ratios: this.data.tables[w.table[i]],
      displacement: w.displacement[i],
      spelling: w.spelling[i],
      changed: false,
    };
  }

  isPercussion(note) {
    return this.parts[this.part[note]].percussion;
  }

  // --- clock -------------------------------------------------------------------------------------
  seconds(tick) {
    const { ticks, seconds, per_tick: perTick } = this.data.clock;
    const k = Math.max(upperBound(ticks, tick) - 1, 0);
    return seconds[k] + (tick - ticks[k]) * perTick[k];
  }

  tick(second) {
    const { ticks, seconds, per_tick: perTick } = this.data.clock;
    const k = Math.max(upperBound(seconds, second) - 1, 0);
    return ticks[k] + (second - seconds[k]) / perTick[k];
  }

  get ticksPerQuarter() {
    return this.data.clock.ticks_per_quarter;
  }

  // --- bars --------------------------------------------------------------------------------------
  _meter(k) {
    const m = this.data.meters;
    const beatTicks = (this.ticksPerQuarter * 4) / m.denominator[k];
    return { start: m.ticks[k], bar: m.bars[k], beats: m.numerator[k], beatTicks };
  }

  barBeat(tick) {
    const meter = this._meter(Math.max(upperBound(this.data.meters.ticks, tick) - 1, 0));
    const beats = (tick - meter.start) / meter.beatTicks;
    const bars = Math.floor(beats / meter.beats + TICK_EPSILON);
    return { bar: meter.bar + bars, beat: 1 + beats - bars * meter.beats };
  }

  tickOf(bar, beat = 1) {
    const meter = this._meter(Math.max(upperBound(this.data.meters.bars, bar) - 1, 0));
    return roundHalfEven(meter.start + ((bar - meter.bar) * meter.beats + beat - 1) * meter.beatTicks);
  }

  get lastBar() {
    return this.barBeat(Math.max(this.endTick - 1, 0)).bar;
  }

  /** Bar and beat as the program says them: what lies close to a quarter of a beat is there. */
  spoken(tick) {
    const { bar, beat } = this.barBeat(tick);
    const meter = this._meter(Math.max(upperBound(this.data.meters.ticks, tick) - 1, 0));
    const nearest = Math.round(beat * 4) / 4;
    const said = Math.abs(beat - nearest) <= this.data.meters.reach ? nearest : beat;
    return said >= meter.beats + 1 ? { bar: bar + 1, beat: 1 } : { bar, beat: said };
  }

  where(tick) {
    const { bar, beat } = this.spoken(tick);
    return `bar ${bar}, beat ${beatFigure(beat)}`;
  }

  /** Bar lines and beats between two ticks: [{tick, bar, beat}], beat 1 being the bar line. */
  beats(from, to) {
    const lines = [];
    for (let bar = this.barBeat(Math.max(from, 0)).bar; ; bar++) {
      const start = this.tickOf(bar);
      if (start > to || lines.length > 4000) return lines;
      const meter = this._meter(Math.max(upperBound(this.data.meters.ticks, start) - 1, 0));
      const next = this.tickOf(bar + 1);
      for (let beat = 0; beat < meter.beats; beat++) {
        const tick = start + beat * meter.beatTicks;
        if (tick >= from && tick <= to && tick < next) lines.push({ tick, bar, beat: beat + 1 });
      }
    }
  }

  // --- notes -------------------------------------------------------------------------------------
  /** Notes that sound at some time in [from, to). */
  notesBetween(from, to) {
    const found = [];
    for (let i = upperBound(this.latestEnd, from); i < this.count && this.onset[i] < to; i++) {
      if (this.end[i] > from || (this.onset[i] >= from && this.onset[i] < to)) found.push(i);
    }
    return found;
  }

  /** Name of a pitch class in one of the piece's spellings (one a key). */
  pitchName(pitchClass, spelling = 0) {
    return this.data.spellings[spelling][((pitchClass % 12) + 12) % 12];
  }

  /** Name of a window's root; that of an augmented sixth is a minor second above the note it resolves to. */
  rootName(window) {
    if (!isAugmentedSixth(window)) return this.pitchName(window.root, window.spelling);
    return nameOfFifth(placeOfName(this.pitchName(window.root - 1, window.spelling)) + MINOR_SECOND);
  }

  /** Name of a pitch class in a window: a chord tone is a third, a fifth … of its root, others follow the key. */
  toneName(pitchClass, window) {
    const step = (((pitchClass - window.root) % 12) + 12) % 12;
    const type = this.chordTypes.get(window.chord);
    if (!type || !type.intervals.includes(step)) return this.pitchName(pitchClass, window.spelling);
    const { fifths_above_root: usual, other_fifths: others } = this.data.chord_spelling;
    const has = (tone) => type.intervals.includes(tone);
    const sixth = isAugmentedSixth(window);
    // The rarer name where the usual one is taken: a fifth beside the tritone, a third beside the second, …
    const other = { 6: has(7) || sixth, 8: !has(7), 9: has(3) && has(6), 3: has(4), 10: sixth }[step];
    const way = other ? others[step] : usual[step];
    const name = nameOfFifth(placeOfName(this.rootName(window)) + way);
    const { most_signs: most, plain } = this.data.chord_spelling;
    return name.length <= 1 + most ? name : plain[((pitchClass % 12) + 12) % 12];
  }

  noteName(note) {
    const window = this.windowAt(this.onset[note]);
    const name = window ? this.toneName(this.key[note], window) : this.pitchName(this.key[note]);
    return name + (Math.floor((this.key[note] - signsOf(name)) / 12) - 1);
  }

  windowIndexAt(tick, windows = this.windows) {
    let low = 0;
    let high = windows.length;
    while (low < high) {
      const middle = (low + high) >> 1;
      if (windows[middle].start <= tick) low = middle + 1;
      else high = middle;
    }
    return Math.max(low - 1, 0);
  }

  windowAt(tick, windows = this.windows) {
    return windows[this.windowIndexAt(tick, windows)];
  }
}

const LETTERS = "FCGDAEB"; // the line of fifths, F = -1
const MINOR_SECOND = -5; // the way up to it on that line

function isAugmentedSixth(window) {
  return window.chord.endsWith("+6");
}

function signsOf(name) {
  return name.split("♯").length - name.split("♭").length;
}

/** Place of a name on the line of fifths: C = 0, G = 1, F = -1. */
function placeOfName(name) {
  return LETTERS.indexOf(name[0]) - 1 + 7 * signsOf(name);
}

function nameOfFifth(place) {
  const signs = Math.floor((place + 1) / 7);
  return LETTERS[place + 1 - 7 * signs] + (signs > 0 ? "♯".repeat(signs) : "♭".repeat(-signs));
}

/** "Dmin7", "G7/B", "C": the label that tables of the analysis print. */
function chordLabel(music, window) {
  const root = music.rootName(window);
  const bass = window.bass === window.root ? "" : "/" + music.toneName(window.bass, window);
  const symbol = window.chord || `(${memberSteps(window).join(" ")})`;
  const signed = symbol.replace("b", "♭").replace("#", "♯");
  const shown = isAugmentedSixth(window) ? ` ${symbol}` : { maj: "", 1: " unison" }[symbol] ?? signed;
  return root + shown + bass;
}

function chordWords(music, window) {
  const type = music.chordTypes.get(window.chord);
  return `${music.rootName(window)} ${type ? type.name : "with tones of no named chord"}`;
}

function memberSteps(window) {
  return [...Array(12).keys()].filter((step) => (window.members >> step) & 1);
}

/** The chord as whole numbers, lowest root upwards: "10:12:15"; or its ratios when those grow too long. */
function proportion(window) {
  const pairs = memberSteps(window).map((step) => window.ratios[step]);
  const common = pairs.reduce((sum, [, bottom]) => (sum * bottom) / greatestDivisor(sum, bottom), 1);
  const whole = pairs.map(([top, bottom]) => (top * common) / bottom);
  const text = whole.join(":");
  return whole.length > 1 && text.length <= 17 ? text : pairs.map(ratioText).join(" ");
}

function ratioText([top, bottom]) {
  return bottom === 1 ? String(top) : `${top}/${bottom}`;
}

/** Cents each pitch class lies from its equal-tempered place above the root. */
function deviation(window, step) {
  return ratioCents(window.ratios[step]) - 100 * step;
}

const MAIN_TUNINGS = ["original", "retuned", "edited"]; // always at hand; the others in a list

/** A tuning that gives every pitch class one offset: twelve numbers. */
class ClassTuning {
  constructor({ id, name, about, classes }, music) {
    Object.assign(this, { id, name, about, classes, music });
  }

  steps(note) {
    return [[this.music.onset[note], this.offsetAt(note)]];
  }

  offsetAt(note) {
    return this.music.isPercussion(note) ? 0 : this.classes[this.music.key[note] % 12];
  }
}

/** A tuning that gives every note its own offsets, as steps in time. */
class StepTuning {
  constructor({ id, name, about, count, later, cents }, music) {
    Object.assign(this, { id, name, about, music });
    let row = 0;
    let laterRow = 0;
    this.of = count.map((rows, note) => {
      const steps = [];
      for (let i = 0; i < rows; i++) {
        const tick = music.onset[note] + (i ? later[laterRow++] : 0);
        steps.push([tick, cents[row++] / 1000]);
      }
      return steps;
    });
  }

  steps(note) {
    const steps = this.of[note];
    return steps.length ? steps : [[this.music.onset[note], 0]];
  }

  offsetAt(note, tick) {
    const steps = this.steps(note);
    let cents = steps[0][1];
    for (const [start, value] of steps) {
      if (start > tick) break;
      cents = value;
    }
    return cents;
  }
}

function makeTuning(entry, music) {
  return entry.classes ? new ClassTuning(entry, music) : new StepTuning(entry, music);
}
