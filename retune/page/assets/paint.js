// Draws music on a canvas: notes coloured by their offset, bars, chords (for print), the drift curve.
// Colours run from amber (flat) over grey (as tempered) to blue (sharp), which stay apart for colour-blind
// readers; a note's height on the page is also true to scale (one row is 100 cents), and figures say the rest.

const GUTTER = 40;
const RULER = 26;
const CHORD_ROW = 46;
const DRIFT_ROW = 92;
const DRIFT_GAP = 22;
const FIGURE_HEIGHT = 10; // lowest row that holds a readable figure

const LOOKS = {
  light: {
    paper: "#fffdf8", shade: "#f3efe6", line: "#e2dccf", bar: "#a79f8f", ink: "#23262b", quiet: "#686357",
    flat: [166, 72, 8], zero: [183, 180, 172], sharp: [24, 92, 160],
    drift: "#7a3b78", mark: "#9a1f4d", play: "#14685b", loop: "rgba(20,104,91,0.13)",
  },
  dark: {
    paper: "#191c20", shade: "#1f2328", line: "#30353c", bar: "#666e79", ink: "#eceae4", quiet: "#a5a89f",
    flat: [245, 160, 72], zero: [112, 116, 122], sharp: [110, 182, 250],
    drift: "#d59bd3", mark: "#ff8db4", play: "#62d3bd", loop: "rgba(98,211,189,0.16)",
  },
};

/** The offset at which the colours are fullest: what this piece needs, between 15 and 50 cents. */
function colourReach(tunings, music) {
  const sizes = [];
  for (const tuning of tunings) {
    for (let note = 0; note < music.count; note++) {
      for (const [, cents] of tuning.steps(note)) sizes.push(Math.abs(cents));
    }
  }
  sizes.sort((a, b) => a - b);
  const common = sizes.length ? sizes[Math.floor((sizes.length - 1) * 0.98)] : 0;
  return Math.min(Math.max(Math.ceil(common / 5) * 5, 15), 50);
}

const MIDDLE_LUMINANCE = 0.179; // where black and white ink contrast equally (from the formula of WCAG 2.2)

/** Relative luminance of an sRGB colour (WCAG 2.2, definition). */
function luminance(rgb) {
  const [r, g, b] = rgb.map((c) => (c <= 10 ? c / 3294 : ((c / 255 + 0.055) / 1.055) ** 2.4));
  return 0.2126 * r + 0.7152 * g + 0.0722 * b;
}

class OffsetColours {
  constructor(look, reach) {
    this.reach = reach;
    this.fills = [];
    this.inks = [];
    for (let i = -50; i <= 50; i++) {
      const end = i < 0 ? look.flat : look.sharp;
      const share = Math.abs(i) / 50;
      const mixed = look.zero.map((zero, c) => Math.round(zero + (end[c] - zero) * share));
      this.fills.push(`rgb(${mixed.join(",")})`);
      this.inks.push(luminance(mixed) > MIDDLE_LUMINANCE ? "#101215" : "#ffffff");
    }
  }

  fill(cents) {
    return this.fills[50 + this._place(cents)];
  }

  /** Ink that stands out best on the fill. */
  text(cents) {
    return this.inks[50 + this._place(cents)];
  }

  _place(cents) {
    return Math.round(Math.min(Math.max(cents / this.reach, -1), 1) * 50);
  }
}

/** Where things are: ticks to x, keys to y. */
class Frame {
  constructor({ left, perTick, fromTick, toTick, top, rowHeight, lowKey, highKey, width }) {
    Object.assign(this, { left, perTick, fromTick, toTick, top, rowHeight, lowKey, highKey, width });
    this.bottom = top + (highKey - lowKey + 1) * rowHeight;
    this.driftTop = this.bottom + DRIFT_GAP;
  }

  x(tick) {
    return this.left + (tick - this.fromTick) * this.perTick;
  }

  tick(x) {
    return this.fromTick + (x - this.left) / this.perTick;
  }

  y(key) {
    return this.top + (this.highKey - key) * this.rowHeight;
  }

  static height(rows, rowHeight) {
    return RULER + CHORD_ROW + rows * rowHeight + DRIFT_GAP + DRIFT_ROW;
  }
}

class Painter {
  constructor(music, look, reach) {
    this.music = music;
    this.look = look;
    this.colours = new OffsetColours(look, reach);
  }

  paintGround(g, frame) {
    const { look } = this;
    g.fillStyle = look.paper;
    g.fillRect(0, 0, frame.width, frame.driftTop + DRIFT_ROW);
    g.fillStyle = look.shade;
    for (let key = frame.lowKey; key <= frame.highKey; key++) {
      if ([1, 3, 6, 8, 10].includes(key % 12)) g.fillRect(0, frame.y(key), frame.width, frame.rowHeight);
    }
    g.fillStyle = look.line;
    for (let key = frame.lowKey; key <= frame.highKey; key++) {
      if (key % 12 === 0) g.fillRect(0, frame.y(key) + frame.rowHeight - 1, frame.width, 1);
    }
  }

  paintBars(g, frame) {
    const { look, music } = this;
    const lines = music.beats(frame.fromTick, frame.toTick);
    const bars = lines.filter((line) => line.beat === 1);
    const apart = bars.length > 1 ? (bars[1].tick - bars[0].tick) * frame.perTick : 100;
    const every = [1, 2, 5, 10, 20, 50, 100].find((n) => n * apart >= 34) ?? 200;
    const beatsShown = lines.length > 1 && (lines[1].tick - lines[0].tick) * frame.perTick >= 9;
    g.font = "11px system-ui, sans-serif";
    g.textBaseline = "middle";
    g.textAlign = "left";
    for (const { tick, bar, beat } of lines) {
      const x = Math.round(frame.x(tick));
      if (beat === 1) {
        g.fillStyle = look.bar;
        g.fillRect(x, bar % every && every > 1 ? RULER + CHORD_ROW : 4, 1, frame.driftTop + DRIFT_ROW);
        if (bar % every === 0 || every === 1) {
          g.fillStyle = look.quiet;
          g.fillText(String(bar), x + 4, 12);
        }
      } else if (beatsShown) {
        g.fillStyle = look.line;
        g.fillRect(x, frame.top, 1, frame.bottom - frame.top);
        g.fillRect(x, RULER - 6, 1, 6);
      }
    }
  }

  /** Notes between the frame's ticks. `state` says what is selected, dimmed and sounding. */
  paintNotes(g, frame, tuning, state) {
    const { music, look } = this;
    const figures = []; // written last, so that no note covers the figure of another
    for (const note of music.notesBetween(frame.fromTick, frame.toTick)) {
      g.globalAlpha = state.dimmed(music.part[note]) ? 0.25 : 1;
      if (music.isPercussion(note)) {
        this._paintTap(g, frame, note);
        continue;
      }
      this._paintNote(g, frame, note, tuning.steps(note), figures);
      const sounding = state.tick >= music.onset[note] && state.tick < music.end[note];
      if (sounding || state.note === note) {
        g.strokeStyle = state.note === note ? look.mark : look.ink;
        g.lineWidth = state.note === note ? 2.5 : 1.25;
        const { x, y, width } = this.box(frame, note, tuning.steps(note)[0][1]);
        g.strokeRect(x + 0.5, y + 0.5, width - 1, frame.rowHeight - 2);
      }
    }
    g.globalAlpha = 1;
    if (frame.rowHeight >= FIGURE_HEIGHT) this._writeFigures(g, frame, figures);
  }

  _writeFigures(g, frame, figures) {
    g.font = `${Math.min(frame.rowHeight - 1, 11)}px system-ui, sans-serif`;
    g.textBaseline = "middle";
    g.textAlign = "left";
    for (const { cents, x, y } of figures) {
      g.fillStyle = this.colours.text(cents);
      g.fillText(signed(cents, 0), x, y + frame.rowHeight / 2 + 0.5);
    }
  }

  _paintNote(g, frame, note, steps, figures) {
    const { music } = this;
    for (let i = 0; i < steps.length; i++) {
      const cents = steps[i][1];
      const from = Math.max(frame.x(steps[i][0]), -4);
      const until = i + 1 < steps.length ? steps[i + 1][0] : music.end[note];
      const to = Math.min(frame.x(until), frame.width + 4);
      if (to < -3) continue;
      const y = frame.y(music.key[note]) - (cents / 100) * frame.rowHeight;
      const width = Math.max(to - from - (i + 1 < steps.length ? 0 : 1), 2);
      g.fillStyle = this.colours.fill(cents);
      g.fillRect(from, y + 0.5, width, frame.rowHeight - 1);
      if (width > 25 && (i === 0 || Math.abs(cents - steps[i - 1][1]) >= 0.5)) {
        figures.push({ cents, x: Math.max(from, GUTTER) + 3, y });
      }
    }
  }

  _paintTap(g, frame, note) {
    const { music, look } = this;
    const size = Math.max(frame.rowHeight / 2 - 1, 2);
    const y = frame.y(music.key[note]) + frame.rowHeight / 2;
    g.strokeStyle = look.quiet;
    g.lineWidth = 1.25;
    g.beginPath();
    g.moveTo(frame.x(music.onset[note]), y - size);
    g.lineTo(frame.x(music.onset[note]) + size, y + size);
    g.moveTo(frame.x(music.onset[note]) + size, y - size);
    g.lineTo(frame.x(music.onset[note]), y + size);
    g.stroke();
  }

  box(frame, note, cents) {
    const { music } = this;
    const x = frame.x(music.onset[note]);
    const y = frame.y(music.key[note]) - (cents / 100) * frame.rowHeight;
    return { x, y, width: Math.max(frame.x(music.end[note]) - x, 2), height: frame.rowHeight };
  }

  paintKeys(g, frame) {
    const { look } = this;
    g.fillStyle = look.paper;
    g.fillRect(0, frame.top, GUTTER - 4, frame.bottom - frame.top + DRIFT_GAP + DRIFT_ROW);
    g.fillStyle = look.line;
    g.fillRect(GUTTER - 4, frame.top, 1, frame.driftTop + DRIFT_ROW - frame.top);
    g.fillStyle = look.quiet;
    g.font = "11px system-ui, sans-serif";
    g.textAlign = "right";
    g.textBaseline = "middle";
    for (let key = frame.lowKey; key <= frame.highKey; key++) {
      const named = key % 12 === 0 || (key % 12 === 7 && frame.rowHeight >= 9);
      if (!named) continue;
      const name = (key % 12 ? "G" : "C") + (Math.floor(key / 12) - 1);
      g.fillText(name, GUTTER - 8, frame.y(key) + frame.rowHeight / 2);
    }
  }

  /** The course of the roots' displacement: a step a window, the drift limit as dashes. */
  paintDrift(g, frame, windows, { labelled = true } = {}) {
    const { look } = this;
    const { reach, limit } = driftReach(this.music, windows);
    const middle = frame.driftTop + DRIFT_ROW / 2;
    const scale = (DRIFT_ROW / 2 - 10) / reach;
    g.fillStyle = look.line;
    g.fillRect(0, Math.round(middle), frame.width, 1);
    if (limit !== null) {
      g.strokeStyle = look.quiet;
      g.setLineDash([5, 4]);
      g.lineWidth = 1;
      for (const side of [-1, 1]) {
        const y = Math.round(middle - side * limit * scale) + 0.5;
        g.beginPath();
        g.moveTo(0, y);
        g.lineTo(frame.width, y);
        g.stroke();
      }
      g.setLineDash([]);
    }
    g.strokeStyle = look.drift;
    g.lineWidth = 2;
    g.beginPath();
    const first = this.music.windowIndexAt(frame.fromTick, windows);
    for (let i = first; i < windows.length && windows[i].start <= frame.toTick; i++) {
      const y = middle - windows[i].displacement * scale;
      if (i === first) g.moveTo(frame.x(windows[i].start), y);
      else g.lineTo(frame.x(windows[i].start), y);
      g.lineTo(frame.x(windows[i].end), y);
    }
    g.stroke();
    if (labelled) this._labelDrift(g, frame, middle, scale, limit ?? reach);
  }

  _labelDrift(g, frame, middle, scale, at) {
    const { look } = this;
    g.fillStyle = look.quiet;
    g.font = "11px system-ui, sans-serif";
    g.textAlign = "right";
    g.textBaseline = "middle";
    for (const cents of [at, 0, -at]) {
      g.fillText(signed(cents, at < 2 ? 1 : 0), GUTTER - 8, middle - cents * scale);
    }
    g.textAlign = "left";
    g.fillText("drift of the chord roots, cents", GUTTER + 2, frame.driftTop - 6);
  }

  paintCompromises(g, frame, compromises) {
    g.fillStyle = this.look.mark;
    for (const { tick } of compromises) {
      if (tick < frame.fromTick || tick > frame.toTick) continue;
      const x = frame.x(tick);
      g.beginPath();
      g.moveTo(x, RULER - 9);
      g.lineTo(x + 5, RULER - 4);
      g.lineTo(x, RULER + 1);
      g.lineTo(x - 5, RULER - 4);
      g.fill();
    }
  }

  paintChords(g, frame, windows) {
    g.textAlign = "left";
    g.textBaseline = "alphabetic";
    const first = this.music.windowIndexAt(frame.fromTick, windows);
    for (let i = first; i < windows.length && windows[i].start < frame.toTick; i++) {
      const width = (windows[i].end - windows[i].start) * frame.perTick;
      if (width < 14) continue;
      g.save();
      g.beginPath();
      g.rect(frame.x(windows[i].start), RULER, width - 1, CHORD_ROW);
      g.clip();
      g.fillStyle = this.look.ink;
      g.font = "600 12px system-ui, sans-serif";
      g.fillText(chordLabel(this.music, windows[i]), frame.x(windows[i].start) + 3, RULER + 17);
      g.font = "10px system-ui, sans-serif";
      g.fillStyle = this.look.quiet;
      if (width > 44) g.fillText(proportion(windows[i]), frame.x(windows[i].start) + 3, RULER + 33);
      g.restore();
    }
  }
}

/** How many cents the drift curve must show, and the limit if there is one and it fits. */
function driftReach(music, windows) {
  const largest = windows.reduce((most, w) => Math.max(most, Math.abs(w.displacement)), 0);
  const limit = music.data.drift_limit;
  const bounded = limit !== null && limit > 0 && limit < 60 ? limit : null;
  return { reach: Math.max(largest, bounded ?? 1, 1), limit: bounded };
}

/** A canvas of a size in CSS pixels, sharp on fine screens; its drawing context. */
function sizedContext(canvas, width, height) {
  const density = Math.min(window.devicePixelRatio || 1, 3);
  const [w, h] = [Math.round(width * density), Math.round(height * density)];
  if (canvas.width !== w || canvas.height !== h) {
    canvas.width = w;
    canvas.height = h;
    canvas.style.width = `${width}px`;
    canvas.style.height = `${height}px`;
  }
  const g = canvas.getContext("2d");
  g.setTransform(density, 0, 0, density, 0, 0);
  return g;
}
