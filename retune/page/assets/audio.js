// Plays the notes at exact frequencies with Web Audio: one oscillator a note, scheduled a little ahead.
// A change of tuning moves the oscillators that are sounding; nothing is stopped, so there is no gap.

const A4_KEY = 69;
const LOOK_AHEAD_SECONDS = 0.3;
const LOOK_AHEAD_HIDDEN_SECONDS = 2.5; // timers of a hidden page run about once a second
const TIMER_MS = 40;
const TICK_TOLERANCE = 1e-3; // a place in seconds turned into ticks may miss by rounding
const SHORTEST_LOOP_SECONDS = 0.05;
const START_DELAY_SECONDS = 0.06;
const ATTACK_SECONDS = 0.008; // time constants of an exponential approach: no clicks, still prompt
const RELEASE_SECONDS = 0.025;
const TAIL_SECONDS = 0.25; // ten time constants: silent to −87 dB
const CHORD_SECONDS = 12; // a chord heard alone ends by itself

// Amplitudes of the partials. Thirds, fifths and sixths beat between partials up to the sixth, so those are
// strong enough to hear; the tone does not decay or waver, so that every beat heard is the tuning's own.
const PARTIALS = [1, 0.6, 0.42, 0.3, 0.22, 0.16, 0.06, 0.04];
const LINEAR_TO = 0.8; // the output is exact below this level and bent softly above it, never over 1

/** A curve for a WaveShaperNode fed with half the signal: straight up to LINEAR_TO, then easing towards 1. */
function safetyCurve() {
  const points = 4097;
  const curve = new Float32Array(points);
  for (let i = 0; i < points; i++) {
    const x = (4 * i) / (points - 1) - 2;
    const over = Math.max(Math.abs(x) - LINEAR_TO, 0) / (1 - LINEAR_TO);
    curve[i] = Math.sign(x) * (over ? LINEAR_TO + (1 - LINEAR_TO) * Math.tanh(over) : Math.abs(x));
  }
  return curve;
}

/** Loudness of one note before the common level: velocity, and high notes held back a little. */
function noteLevel(key, velocity) {
  return (0.25 + 0.75 * (velocity / 127)) * Math.min(2 ** ((60 - key) / 48), 1.5);
}

/** Largest sum of the levels of notes that sound together. */
function peakLevel(music) {
  const changes = [];
  for (let i = 0; i < music.count; i++) {
    const level = noteLevel(music.key[i], music.velocity[i]);
    changes.push([music.onset[i], level], [music.end[i], -level]);
  }
  changes.sort((a, b) => a[0] - b[0] || a[1] - b[1]);
  let sum = 0;
  let peak = 1;
  for (const [, change] of changes) peak = Math.max(peak, (sum += change));
  return peak;
}

class Player {
  constructor(music, tuning, { context = null, onState = () => {} } = {}) {
    this.music = music;
    this.tuning = tuning;
    this.context = context;
    this.onState = onState;
    this.speed = 1;
    this.volume = 0.6;
    this.loop = null; // {from, to} in seconds of the score
    this.muted = new Set();
    this.soloed = new Set();
    this.state = "stopped";
    this.rest = 0; // where the score stands while nothing plays [s]
    this.voices = new Set();
    this.held = false; // a chord is heard alone
    this.wish = null; // what was asked for last, while the device wakes
    this.segments = []; // [{at, from}]: at context time `at` the score is at `from`
    this.level = 0.5 / Math.sqrt(peakLevel(music)); // up to four full notes can never reach the soft limit
  }

  // --- audio graph -------------------------------------------------------------------------------
  _prepare() {
    if (this.wave) return;
    this.context ??= new AudioContext({ latencyHint: "interactive" });
    const context = this.context;
    this.wave = context.createPeriodicWave(
      Float32Array.from([0, ...PARTIALS.map((a, i) => (i % 2 ? a : 0))]),
      Float32Array.from([0, ...PARTIALS.map((a, i) => (i % 2 ? 0 : a))]),
    );
    const half = context.createGain();
    half.gain.value = 0.5;
    const shaper = context.createWaveShaper();
    shaper.curve = safetyCurve();
    this.output = context.createGain();
    this.output.gain.value = this.volume;
    this.output.connect(half).connect(shaper).connect(context.destination);
    this.buses = this.music.parts.map((_, part) => {
      const bus = context.createGain();
      bus.gain.value = this.isAudible(part) ? 1 : 0;
      bus.connect(this.output);
      return bus;
    });
  }

  _noise() {
    if (this.noiseBuffer) return this.noiseBuffer;
    const length = Math.round(this.context.sampleRate * 0.08);
    this.noiseBuffer = this.context.createBuffer(1, length, this.context.sampleRate);
    const samples = this.noiseBuffer.getChannelData(0);
    let seed = 1;
    for (let i = 0; i < length; i++) {
      seed = (seed * 16807) % 2147483647; // Park and Miller 1988: the same noise every time
      samples[i] = ((seed / 1073741823.5) - 1) * Math.exp((-5 * i) / length);
    }
    return this.noiseBuffer;
  }

  // --- time --------------------------------------------------------------------------------------
  _contextTime(scoreSecond, segment) {
    return segment.at + (scoreSecond - segment.from) / this.speed;
  }

  /** Where the score is at a context time [s]. */
  _scoreAt(time) {
    let segment = this.segments[0];
    for (const later of this.segments) if (later.at <= time) segment = later;
    return segment.from + Math.max(time - segment.at, 0) * this.speed;
  }

  /** Where the score is for what is computed now; what is heard now is a little behind. */
  _scoreNow() {
    return this.state === "playing" ? this._scoreAt(this.context.currentTime) : this.rest;
  }

  /** Where the score is that is heard now [s]. */
  get position() {
    if (this.state !== "playing") return this.rest;
    const heard = this.context.currentTime - (this.context.outputLatency || 0);
    return Math.min(this._scoreAt(heard), this.music.endSecond);
  }

  // --- transport ---------------------------------------------------------------------------------
  /** Wake the sound device; false if something else was asked for in the meantime. */
  async _awake() {
    const wish = (this.wish = {});
    if (this.context.state !== "running") await this.context.resume();
    return wish === this.wish;
  }

  async play() {
    this._prepare();
    if (!(await this._awake())) return;
    clearInterval(this.timer);
    this.silence();
    const { loop } = this;
    if (this.rest >= this.music.endSecond - 0.01) this.rest = 0;
    if (loop && (this.rest < loop.from || this.rest >= loop.to)) this.rest = loop.from;
    this._begin(this.context.currentTime + START_DELAY_SECONDS, this.rest);
    this.state = "playing";
    this._fill();
    this.timer = setInterval(() => this._fill(), TIMER_MS);
    this.onState(this.state);
  }

  pause() {
    if (this.state !== "playing") return;
    this.rest = this.position;
    this._halt("paused");
  }

  stop() {
    this.rest = this.loop ? this.loop.from : 0;
    this._halt("stopped");
  }

  _halt(state) {
    this.wish = null;
    clearInterval(this.timer);
    this.silence();
    this.state = state;
    this.onState(state);
  }

  seek(second) {
    const target = Math.min(Math.max(second, 0), this.music.endSecond);
    const { loop } = this;
    if (loop && (target < loop.from || target >= loop.to)) this.loop = null;
    this.rest = target;
    if (this.state === "playing") this._restart(target);
  }

  _restart(second) {
    this.silence();
    this._begin(this.context.currentTime + 0.02, second);
    this._fill();
  }

  /** Fade out everything that sounds or is about to. */
  silence() {
    if (!this.context) return;
    const now = this.context.currentTime;
    for (const voice of this.voices) this._release(voice, now);
    this.voices.clear();
    this.held = false;
  }

  setSpeed(speed) {
    const score = this._scoreNow();
    this.speed = speed;
    if (this.state === "playing") this._replan(score);
  }

  setLoop(loop) {
    const score = this._scoreNow();
    this.loop = loop && loop.to - loop.from > SHORTEST_LOOP_SECONDS ? loop : null;
    const outside = this.loop && (score < this.loop.from || score >= this.loop.to);
    if (outside) this.rest = this.loop.from;
    if (this.state !== "playing") return;
    if (outside) this._restart(this.loop.from);
    else this._replan(score);
  }

  /** Keep what sounds, and plan again what follows: its times have changed. */
  _replan(score) {
    const now = this.context.currentTime;
    this.segments = [{ at: now, from: score }];
    this.current = this.segments[0];
    for (const voice of [...this.voices]) {
      if (voice.from > now) {
        this._release(voice, now);
        this.voices.delete(voice);
      } else if (!voice.isTap) {
        voice.segment = this.current;
        this._setEnd(voice);
        this._setPitch(voice);
      }
    }
    this.next = upperBound(this.music.onsetSeconds, score);
    this._fill();
  }

  setVolume(volume) {
    this.volume = volume;
    if (this.output) this.output.gain.setTargetAtTime(volume, this.context.currentTime, 0.02);
  }

  isAudible(part) {
    return this.soloed.size ? this.soloed.has(part) : !this.muted.has(part);
  }

  /** Make the parts' levels follow `muted` and `soloed`. */
  applyParts() {
    if (!this.buses) return;
    this.buses.forEach((bus, part) => {
      bus.gain.setTargetAtTime(this.isAudible(part) ? 1 : 0, this.context.currentTime, 0.012);
    });
  }

  /** Switch everything that sounds to another tuning, at once. */
  setTuning(tuning) {
    this.tuning = tuning;
    for (const voice of this.voices) this._setPitch(voice);
  }

  // --- a chord alone -----------------------------------------------------------------------------
  /** Sound notes together, each as it is tuned at its tick; they follow later changes of tuning. */
  async hold(tones) {
    this._prepare();
    if (this.state === "playing") this.pause();
    if (!(await this._awake())) return;
    this.silence();
    const at = this.context.currentTime + 0.02;
    for (const { note, tick } of tones) {
      const voice = this._tone(note, at, this.output);
      Object.assign(voice, { frozenTick: tick, until: at + CHORD_SECONDS });
      this._setPitch(voice);
      this._setEnd(voice);
    }
    this.held = tones.length > 0;
    this.onState(this.state);
  }

  /** End a chord that is heard alone. */
  letGo() {
    this.wish = null;
    this.silence();
    this.onState(this.state);
  }

  // --- scheduling --------------------------------------------------------------------------------
  _begin(at, from) {
    this.segments = [];
    this._enter(at, from);
  }

  /** Go on at a place of the score, notes that sound there included. */
  _enter(at, from) {
    this.current = { at, from };
    this.segments.push(this.current);
    const tick = this.music.tick(from);
    this.next = upperBound(this.music.onset, tick - TICK_TOLERANCE);
    for (const note of this.music.notesBetween(tick, tick + TICK_TOLERANCE)) {
      if (note < this.next) this._schedule(note, at);
    }
  }

  _fill() {
    const hidden = typeof document !== "undefined" && document.hidden;
    this._fillTo(this.context.currentTime + (hidden ? LOOK_AHEAD_HIDDEN_SECONDS : LOOK_AHEAD_SECONDS));
  }

  _fillTo(horizon) {
    const { music } = this;
    for (;;) {
      const limit = this.loop ? this.loop.to : music.endSecond;
      while (this.next < music.count && music.onsetSeconds[this.next] < limit - 1e-9) {
        const at = this._contextTime(music.onsetSeconds[this.next], this.current);
        if (at > horizon) return;
        this._schedule(this.next++, at);
      }
      const limitAt = this._contextTime(limit, this.current);
      if (limitAt > horizon) return;
      if (!this.loop) {
        if (this.context.currentTime > limitAt) this._finish();
        return;
      }
      this._enter(limitAt, this.loop.from);
      this.segments = this.segments.slice(-4);
    }
  }

  _finish() {
    this.rest = 0;
    clearInterval(this.timer);
    this.state = "stopped";
    this.onState(this.state);
  }

  _schedule(note, at) {
    if (this.music.isPercussion(note)) {
      this._tap(note, at);
      return;
    }
    const voice = this._tone(note, at, this.buses[this.music.part[note]]);
    voice.segment = this.current;
    this._setPitch(voice);
    this._setEnd(voice);
  }

  /** Start one oscillator; pitch and end are set apart because both may change while it sounds. */
  _tone(note, at, bus) {
    const { context, music } = this;
    const oscillator = context.createOscillator();
    const gain = context.createGain();
    oscillator.setPeriodicWave(this.wave);
    oscillator.frequency.value = music.data.reference_hz * 2 ** ((music.key[note] - A4_KEY) / 12);
    gain.gain.value = 0;
    gain.gain.setTargetAtTime(
      this.level * noteLevel(music.key[note], music.velocity[note]), at, ATTACK_SECONDS,
    );
    oscillator.connect(gain).connect(bus);
    oscillator.start(at);
    return this._track({ note, oscillator, gain, from: at });
  }

  _track(voice) {
    voice.oscillator.onended = () => {
      voice.gain.disconnect();
      this.voices.delete(voice);
      if (this.held && !this.voices.size) {
        this.held = false;
        this.onState(this.state);
      }
    };
    this.voices.add(voice);
    return voice;
  }

  /** Give a voice its offset now and those it takes later while it sounds. */
  _setPitch(voice) {
    if (voice.isTap) return;
    const { detune } = voice.oscillator;
    const start = Math.max(voice.from, this.context.currentTime);
    detune.cancelScheduledValues(0);
    if (voice.frozenTick !== undefined) {
      detune.setValueAtTime(this.tuning.offsetAt(voice.note, voice.frozenTick), start);
      return;
    }
    const [first, ...others] = this.tuning.steps(voice.note);
    const timed = others.map(([tick, cents]) => [this._contextTime(this.music.seconds(tick), voice.segment), cents]);
    const passed = timed.filter(([at]) => at <= start);
    detune.setValueAtTime(passed.length ? passed.at(-1)[1] : first[1], start);
    for (const [at, cents] of timed.slice(passed.length)) detune.setValueAtTime(cents, at);
  }

  _setEnd(voice) {
    let end = voice.until;
    if (end === undefined) {
      const { loop } = this;
      const scoreEnd = this.music.endSeconds[voice.note];
      const limit = loop && loop.to > voice.segment.from ? Math.min(scoreEnd, loop.to) : scoreEnd;
      end = Math.max(this._contextTime(limit, voice.segment), voice.from + 2 * ATTACK_SECONDS);
    }
    this._release(voice, end);
  }

  _release(voice, at) {
    const from = Math.max(at, this.context.currentTime);
    const { gain } = voice.gain;
    gain.cancelScheduledValues(Math.max(voice.from + 1e-4, this.context.currentTime));
    if (from <= voice.from) {
      gain.cancelScheduledValues(0);
      voice.oscillator.stop(from);
      return;
    }
    gain.setTargetAtTime(0, from, RELEASE_SECONDS);
    voice.oscillator.stop(from + TAIL_SECONDS);
  }

  /** A short dry tap for a percussion note: it marks the time and has no pitch. */
  _tap(note, at) {
    const source = this.context.createBufferSource();
    const gain = this.context.createGain();
    source.buffer = this._noise();
    source.playbackRate.value = 2 ** ((this.music.key[note] - 60) / 24);
    gain.gain.value = 0.25 * this.level * noteLevel(60, this.music.velocity[note]);
    source.connect(gain).connect(this.buses[this.music.part[note]]);
    source.start(at);
    this._track({ note, oscillator: source, gain, from: at, isTap: true });
  }
}

/** Render a stretch of the music without playing it: one channel of samples, for measuring.
 *  `change` = {at, tuning}: another tuning from so many seconds on; `set` is laid over the player. */
async function renderStretch(music, tuning, fromSecond, toSecond, { change = null, set = {} } = {}) {
  const sampleRate = 48000;
  const length = Math.ceil((toSecond - fromSecond) * sampleRate);
  const context = new OfflineAudioContext(1, length, sampleRate);
  const player = Object.assign(new Player(music, tuning, { context }), set);
  player._prepare();
  player._begin(0, fromSecond);
  player._fillTo(toSecond - fromSecond);
  if (change) {
    context.suspend(change.at).then(() => {
      player.setTuning(change.tuning);
      context.resume();
    });
  }
  return (await context.startRendering()).getChannelData(0);
}
