// For paper: the music in lines of a few bars, and every chord in a table.

const PRINT_WIDTH = 1040;
const PRINT_QUARTERS = 26; // about as many quarter notes as a printed line holds with figures readable
const PRINT_LINES = 400; // a guard against files of many hours

function printScore(page) {
  const { music } = page;
  const painter = new Painter(music, LOOKS.light, page.reach);
  const box = document.getElementById("print-score");
  const head = document.createElement("h2");
  head.textContent = page.shownTuning.name;
  const lines = printLines(music).map(([from, to]) => printLine(page, painter, from, to));
  box.replaceChildren(head, ...lines);
  const rows = page.windows.map((window) => tableRow("td", [
    sentence(music.where(window.start)),
    chordLabel(music, window),
    proportion(window),
    signed(window.displacement),
  ]));
  document.getElementById("print-chords").replaceChildren(...rows);
}

/** Stretches of whole bars: [[from tick, to tick]]. */
function printLines(music) {
  const lines = [];
  const longest = PRINT_QUARTERS * music.ticksPerQuarter;
  let bar = 1;
  while (bar <= music.lastBar && lines.length < PRINT_LINES) {
    const from = music.tickOf(bar);
    let next = bar + 1;
    while (next <= music.lastBar && music.tickOf(next + 1) - from <= longest) next++;
    lines.push([from, music.tickOf(next)]);
    bar = next;
  }
  return lines;
}

function printLine(page, painter, from, to) {
  const { music, view } = page;
  const keys = music.notesBetween(from, to).map((note) => music.key[note]);
  const lowKey = keys.length ? Math.min(...keys) - 1 : 59;
  const highKey = keys.length ? Math.max(...keys) + 1 : 72;
  const rowHeight = Math.max(view.rowHeight, 10);
  const left = GUTTER;
  const perTick = Math.min((PRINT_WIDTH - left) / (to - from), (PRINT_WIDTH - left) / (PRINT_QUARTERS * music.ticksPerQuarter) * 1.6);
  const frame = new Frame({
    left, perTick, fromTick: from, toTick: to, top: RULER + CHORD_ROW, rowHeight, lowKey, highKey, width: PRINT_WIDTH,
  });
  const canvas = document.createElement("canvas");
  const g = sizedContext(canvas, PRINT_WIDTH, frame.driftTop + DRIFT_ROW);
  painter.paintGround(g, frame);
  painter.paintBars(g, frame);
  painter.paintNotes(g, frame, page.shownTuning, { dimmed: () => false, note: -1, tick: -1 });
  painter.paintChords(g, frame, page.windows);
  painter.paintCompromises(g, frame, music.data.compromises);
  painter.paintKeys(g, frame);
  painter.paintDrift(g, frame, page.windows);
  canvas.setAttribute("role", "img");
  canvas.setAttribute("aria-label", `${sentence(music.where(from))} onwards`);
  return canvas;
}
