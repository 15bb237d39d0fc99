// Plays a page's band into an offline context with a clock of our own, as fast as the machine can.
//
// Every part has a channel to itself, and every sound of the strip is three samples of 1 at its
// beginning, so that what comes out says to the sample when each note of a part began. (One sample
// could fall between two of those that are read where a note is moved to another pitch.) With
// `real` the sounds are the page's own, mixed as it mixes them; with no `parts` nothing is rendered.

async ({ seconds, routine = {}, bar = 0, counted = false, parts = [], real = false, levels = {}, keep = null, actions = [], stalls = [] }) => {
  const RATE = 44100;
  const app = globalThis.practice;
  const frames = Math.ceil(seconds * RATE);
  const context = new OfflineAudioContext(real ? 2 : Math.max(1, parts.length), frames, RATE);
  const sampler = real ? mixed() : apart();

  let now = 0;
  let late = 0;
  let doubled = 0;
  const sounding = new Set();
  const struck = [];
  const player = new app.player.constructor(app.data, practised(), { play, hush: () => {} }, () => now);
  player.start(bar, counted);
  clearInterval(player.timer);
  let most = 0;
  while (now < seconds) {
    const stall = stalls.find(([from, to]) => now >= from && now < to);
    now = stall ? stall[1] : now + 0.06;
    for (const action of actions.filter((each) => !each.done && each.at <= now)) act(action);
    player.pump();
    most = Math.max(most, player.given.length + player.waiting.length + player.turns.length);
  }
  const result = { struck, late, doubled, most, stretches: player.clock.stretches.length };
  if (parts.length === 0) return result;
  const sound = await context.startRendering();
  const channels = Array.from({ length: sound.numberOfChannels }, (_, at) => sound.getChannelData(at));
  if (real) return { ...result, left: Array.from(channels[0]), right: Array.from(channels[1]) };
  return { ...result, onsets: Object.fromEntries(parts.map((part, at) => [part, onsets(channels[at])])) };

  function practised() {
    const chorus = Array.from({ length: app.data.chorus }, (_, at) => at);
    return Object.assign(app.settings.routine, { bars: chorus, tempo: app.data.tempo }, routine);
  }

  function act(action) {
    action.done = true;
    if (action.tempo) player.setTempo(action.tempo);
    if (action.routine) {
      Object.assign(player.routine, action.routine);
      player.replan();
    }
  }

  function play(note, when, length) {
    const row = { part: note.part, pitch: note.pitch, velocity: note.velocity, when, length, given: now };
    if (!keep || keep.includes(note.part)) struck.push(row);
    if (when < now) late += 1;
    if (sounding.has(note)) doubled += 1;
    sounding.add(note);
    const heard = parts.includes(note.part) ? sampler.play(note, when, length) : null;
    const cancel = () => {
      heard?.cancel();
      sounding.delete(note);
      if (struck.includes(row)) struck.splice(struck.indexOf(row), 1);
    };
    return { when, cancel, endAt: () => {}, restore: () => {} };
  }

  function apart() {
    const buffer = new AudioBuffer({ length: Math.ceil(app.data.sound.seconds * RATE), sampleRate: RATE });
    const samples = buffer.getChannelData(0);
    for (const voice of Object.values(app.data.sound.voices)) {
      for (const [, start] of voice.zones) {
        const first = Math.round(start * RATE);
        samples.fill(1, first, first + 3);
      }
    }
    const room = new AudioBuffer({ length: 1, sampleRate: RATE });
    const made = new app.sampler.constructor(context, app.data.sound, buffer, room);
    made.master.disconnect();
    const merger = new ChannelMergerNode(context, { numberOfInputs: Math.max(1, parts.length) });
    merger.connect(context.destination);
    parts.forEach((part, at) => {
      const bus = new GainNode(context);
      bus.connect(merger, 0, at);
      made.buses.set(part, bus);
    });
    return made;
  }

  function mixed() {
    const { strip, room } = app.sampler;
    const made = new app.sampler.constructor(context, app.data.sound, strip, room);
    for (const part of app.data.parts) made.addPart(part.id, part.voice, 1);
    made.addPart("count", "drums", 1);
    for (const [part, level] of Object.entries(levels)) made.setLevel(part, level);
    return made;
  }

  function onsets(samples) {
    const found = [];
    let silent = 9;
    samples.forEach((sample, at) => {
      if (Math.abs(sample) > 1e-7 && silent > 5) found.push(at / RATE);
      silent = Math.abs(sample) > 1e-7 ? 0 : silent + 1;
    });
    return found;
  }
};
