// The page's own logic: it keeps a state that the server changes key by key, draws it, and says at
// once when it is cut off.  No library, nothing from elsewhere; text goes in as text only.
'use strict';

const SILENT_MS = 6000;       // the server says something every 2 s
const FIRST_WAIT_MS = 500;
const LONGEST_WAIT_MS = 5000;
const SAID_MS = 4000;
const KEPT_PRESSES = 50;

const at = id => document.getElementById(id);
const state = new Map();
let points = [];
let socket = null;
let heardAt = 0;              // performance.now() of the last word
let cutSince = null;          // Date since which nothing was heard; null while all is well
let waitMs = FIRST_WAIT_MS;
let retry = null;
let over = false;             // the recording has ended: nothing more will come
let said = '';
let saidAt = -Infinity;
let alarmKnown = '';
let presses = [];             // what was asked for and not answered yet

// --- Talking to the server

function connect() {
  clearTimeout(retry);
  if (over || (socket && socket.readyState <= WebSocket.OPEN)) return;
  const address = new URL('live', location.href);
  address.protocol = location.protocol === 'https:' ? 'wss:' : 'ws:';
  const mine = socket = new WebSocket(address);
  const opened = performance.now();
  heardAt = opened;
  let first = true;
  mine.onmessage = event => {
    if (mine !== socket) return;
    heardAt = performance.now();
    if (first) {              // a new connection is told everything
      first = false;
      state.clear();
      points = [];
      waitMs = FIRST_WAIT_MS;
      cutSince = null;
      for (const press of presses) ask(press);
    }
    const told = JSON.parse(event.data);
    take(told);
    mine.send(JSON.stringify({seen: told.n}));
    draw();
  };
  mine.onclose = mine.onerror = () => { if (mine === socket) lose(); };
}

function lose() {
  const gone = socket;
  socket = null;
  if (gone) gone.close();
  if (over) return;
  if (!cutSince) cutSince = new Date(Date.now() - Math.max(performance.now() - heardAt, 0));
  clearTimeout(retry);
  retry = setTimeout(connect, waitMs * (0.7 + 0.3 * Math.random()));
  waitMs = Math.min(2 * waitMs, LONGEST_WAIT_MS);
  draw();
}

function take(told) {
  for (const [key, value] of Object.entries(told.set || {})) state.set(key, value);
  for (const key of told.gone || []) state.delete(key);
  if (told.afresh) points = [];
  if (told.points) {
    points.push(...told.points);
    const newest = points[points.length - 1][0];
    points = points.filter(point => point[0] > newest - state.get('session').seconds);
  }
  for (const answer of told.answers || []) {
    presses = presses.filter(press => press.id !== answer.id);
    say(answer.words);
  }
  if (state.get('ended')) over = true;
}

function press(what, more) {
  const id = Array.from(crypto.getRandomValues(new Uint8Array(12)), b => b.toString(16)).join('.');
  const one = {id, what, more, at: performance.now()};
  presses.push(one);
  presses = presses.slice(-KEPT_PRESSES);
  if (cutSince) say(what === 'marker' ? 'kept: sent when the page is back' : '');
  ask(one);
}

function ask(one) {
  if (!socket || socket.readyState !== WebSocket.OPEN) return;
  const ago = Math.round(performance.now() - one.at);
  socket.send(JSON.stringify({id: one.id, do: one.what, ago_ms: ago, ...one.more}));
}

function say(words) {
  said = words;
  saidAt = performance.now();
}

// --- Drawing

function set(element, text) {
  if (element.textContent !== text) element.textContent = text;
}

function draw() {
  const session = state.get('session');
  const alarm = state.get('alarm');
  const cut = cutSince !== null;
  document.body.classList.toggle('cut', cut);
  document.body.classList.toggle('stale', state.get('stale') === true);
  drawBanner(alarm, cut);
  if (!session) return;
  const head = state.get('head') || {words: '', calls: false};
  const answered = performance.now() - saidAt < SAID_MS && said;
  at('head').classList.toggle('calls', head.calls && !cut);
  set(at('words'), answered || head.words);
  set(at('time'), cut ? '–' : state.get('time'));
  set(at('invented'), session.invented);
  drawRows(session, cut);
  drawWarnings(cut);
  const full = state.get('right') === 'full';
  at('buttons').hidden = !full;
  at('marker').disabled = over;
  const calling = full && !cut && !over ? calls() : [];
  const loud = alarm && alarmKnown !== alarm.headline;
  at('known').disabled = !calling.length && !loud;
  at('known').classList.toggle('calls', calling.length > 0 || Boolean(loud));
  const notes = [...(state.get('notes') || [])];
  if (!full) notes.push('for looking only');
  if (wakeWords) notes.push(wakeWords);
  set(at('notes'), notes.join('\n'));
  const large = rows().map(row => row.severity && !row.known ? row.large : '').find(Boolean);
  document.title = cut ? 'CUT OFF' : alarm ? alarm.headline : large || session.activity;
  drawPast(session);          // last: it is as high as what is left
}

function drawBanner(alarm, cut) {
  const banner = at('banner');
  const ended = state.get('ended');
  banner.hidden = !(cut || alarm || ended);
  banner.classList.toggle('known', !cut && Boolean(alarm) && alarmKnown === alarm.headline);
  banner.classList.toggle('well', !cut && !alarm);
  if (cut) {
    const seconds = Math.max(0, Math.round((Date.now() - cutSince) / 1000));
    set(at('headline'), 'CUT OFF');
    set(at('sentence'), `since ${cutSince.toLocaleTimeString()} (${seconds} s): what stands here ` +
      'is old. The recording may go on; this page tries again by itself.');
  } else if (alarm) {
    set(at('headline'), alarm.headline);
    set(at('sentence'), alarm.advice + ' The screen of the recording says more.');
  } else if (ended) {
    set(at('headline'), 'ENDED');
    set(at('sentence'), `The recording has ended: ${ended}.`);
  }
}

const rows = () => (state.get('rows') || []).map(n => state.get(`row ${n}`)).filter(Boolean);

function calls() {
  return (state.get('warnings') || []).filter(w => w.calls).map(w => [w.sensor, w.kind]);
}

function drawRows(session, cut) {
  const main = at('rows');
  const wanted = state.get('rows') || [];
  const shown = [...main.children].map(row => Number(row.dataset.number));
  if (String(shown) !== String(wanted)) main.replaceChildren(...wanted.map(n => newRow(n, session)));
  for (const element of main.children) {
    const row = state.get(`row ${element.dataset.number}`);
    if (row) drawRow(element, row, cut);
  }
}

function newRow(number, session) {
  const row = document.createElement('section');
  row.className = 'row';
  row.dataset.number = number;
  const parts = {};
  for (const name of ['who', 'call', 'bpm', 'fix']) {
    parts[name] = document.createElement('div');
    parts[name].className = name;
    row.append(parts[name]);
  }
  const {sign} = session.compared.find(one => one.number === number);
  const words = document.createElement('div');
  words.style.minWidth = '0';
  for (const name of ['label', 'where']) {
    const line = document.createElement('div');
    line.className = name;
    words.append(line);
  }
  parts.who.append(shape(sign), words);
  return row;
}

function drawRow(element, row, cut) {
  const filled = Boolean(row.severity) && !row.known && !cut;
  element.className = `row ${filled ? `filled ${row.severity}` : ''}`;
  const part = name => element.querySelector(`.${name}`);
  set(part('label'), row.label);
  set(part('where'), row.placement);
  set(part('call'), cut ? '– no news' : `${row.call} ${row.detail}`.trim());
  part('call').className = `call ${/^(IN|OUT)$/.test(row.call) && !cut ? 'verdict' : ''} ` +
    `${row.call === 'OUT' && !cut ? 'out' : ''}`;
  set(part('bpm'), cut ? '–' : row.bpm);
  const wanted = cut ? [] : row.large
    ? [['large', row.large], ['advice', (row.known ? '(known) ' : '') + row.advice]]
    : row.trouble ? [['trouble', row.trouble]] : [];
  const fix = part('fix');
  if (String([...fix.children].map(e => [e.className, e.textContent])) !== String(wanted)) {
    fix.replaceChildren(...wanted.map(([name, text]) => {
      const line = document.createElement('span');
      line.className = name;
      line.textContent = text;
      return line;
    }));
  }
}

function drawWarnings(cut) {
  const found = cut ? [] : state.get('warnings') || [];
  const more = state.get('more_warnings') || 0;
  const list = at('warnings');
  list.hidden = !found.length;
  const key = JSON.stringify([found, more]);
  if (list.dataset.key === key) return;
  list.dataset.key = key;
  list.replaceChildren(...found.map(one => {
    const line = document.createElement('div');
    line.className = `warning ${one.severity} ${one.calls ? '' : 'known'}`;
    line.textContent = `${one.calls ? '' : '(known) '}${one.who}, since ${one.since}: ${one.cause}`;
    return line;
  }));
  if (more) list.append(`and ${more} more`);
}

// --- The sensors' shapes, in a box from -1 to 1

const star = Array.from({length: 10}, (_, i) => {
  const radius = i % 2 ? 0.45 : 1, turn = -Math.PI / 2 + i * Math.PI / 5;
  return `${radius * Math.cos(turn)},${radius * Math.sin(turn)}`;
}).join(' ');
const PLUS = '-.36,-1 .36,-1 .36,-.36 1,-.36 1,.36 .36,.36 .36,1 -.36,1 -.36,.36 -1,.36 -1,-.36 -.36,-.36';
const SHAPES = {
  'bar': ['rect', {x: -1, y: -0.5, width: 2, height: 1, rx: 0.2}],
  'disc': ['circle', {r: 0.92}],
  'square': ['rect', {x: -0.82, y: -0.82, width: 1.64, height: 1.64}],
  'triangle': ['polygon', {points: '0,-1 1,.8 -1,.8'}],
  'diamond': ['polygon', {points: '0,-1 .85,0 0,1 -.85,0'}],
  'plus': ['polygon', {points: PLUS}],
  'cross': ['polygon', {points: PLUS, transform: 'rotate(45) scale(1.05)'}],
  'star': ['polygon', {points: star}],
  'half disc': ['path', {d: 'M -.45 -1 A 1 1 0 0 1 -.45 1 Z'}],
};

function shape(sign) {
  const [tag, values] = SHAPES[sign.shape];
  const svg = document.createElementNS('http://www.w3.org/2000/svg', 'svg');
  svg.setAttribute('viewBox', '-1.1 -1.1 2.2 2.2');
  svg.setAttribute('role', 'img');
  svg.setAttribute('aria-label', sign.shape);
  const inner = document.createElementNS(svg.namespaceURI, tag);
  for (const [name, value] of Object.entries(values)) inner.setAttribute(name, value);
  inner.style.fill = `var(${colourOf(sign)})`;
  inner.style.stroke = 'var(--ground)';
  inner.style.strokeWidth = '0.08';
  svg.append(inner);
  return svg;
}

const colourOf = sign => sign.colour < 0 ? '--reference' : `--sensor-${sign.colour}`;

// --- The last minutes: the reference as a band as wide as the tolerance, test sensors as lines

function drawPast(session) {
  const canvas = at('drawing');
  const reference = points.map(point => point[1]).filter(value => value !== null);
  set(at('caption'), reference.length ? `last ${Math.round(session.seconds / 60)} min` : '');
  const ratio = devicePixelRatio || 1;
  const width = canvas.clientWidth, height = canvas.clientHeight;
  if (!width || !height) return;
  if (canvas.width !== Math.round(width * ratio) || canvas.height !== Math.round(height * ratio)) {
    canvas.width = Math.round(width * ratio);
    canvas.height = Math.round(height * ratio);
  }
  const style = getComputedStyle(document.documentElement);
  const colour = name => style.getPropertyValue(name).trim();
  const pen = canvas.getContext('2d');
  pen.setTransform(ratio, 0, 0, ratio, 0, 0);
  pen.clearRect(0, 0, width, height);
  if (reference.length < 2) return;
  const tolerance = bpm => Math.max(session.tolerance_bpm, session.tolerance_percent / 100 * bpm);
  const low = Math.min(...reference), high = Math.max(...reference);
  const half = Math.max((high - low) / 2 + 2 * tolerance(high), 20), middle = (low + high) / 2;
  const newest = points[points.length - 1][0];
  const right = width - 34;
  const x = second => right * (1 + (second - newest) / session.seconds);
  const y = bpm => height * (0.5 - (bpm - middle) / (2 * half));
  pen.font = '12px system-ui, sans-serif';
  pen.textBaseline = 'middle';
  const step = [5, 10, 20, 50].find(one => 2 * half / one <= 5) || 100;
  for (let bpm = Math.ceil((middle - half) / step) * step; bpm <= middle + half; bpm += step) {
    pen.fillStyle = colour('--rule');
    pen.fillRect(0, y(bpm), right, 1);
    pen.fillStyle = colour('--faint');
    pen.fillText(String(bpm), right + 6, Math.min(Math.max(y(bpm), 7), height - 7));
  }
  pen.save();
  pen.beginPath();
  pen.rect(0, 0, right, height);
  pen.clip();
  pen.fillStyle = colour('--band');
  for (const stretch of stretches(1)) {
    pen.beginPath();
    for (const [second, bpm] of stretch) pen.lineTo(x(second), y(bpm + tolerance(bpm)));
    for (const [second, bpm] of stretch.reverse()) pen.lineTo(x(second), y(bpm - tolerance(bpm)));
    pen.fill();
  }
  hatch(pen, x, height, colour('--faint'));
  session.compared.forEach(({sign}, index) => {
    const isReference = index === 0;
    pen.strokeStyle = colour(isReference ? '--band-core' : colourOf(sign));
    pen.lineWidth = isReference ? 2 : 3;
    pen.lineJoin = 'round';
    pen.setLineDash(sign.dashed ? [7, 5] : []);
    for (const stretch of stretches(index + 1)) {
      pen.beginPath();
      for (const [second, bpm] of stretch) pen.lineTo(x(second), y(bpm));
      pen.stroke();
    }
  });
  pen.setLineDash([]);
  pen.restore();
}

// Values of a column without a gap: no line is drawn across one.
function stretches(column) {
  const found = [];
  let open = null;
  for (const point of points) {
    if (point[column] === null) {
      open = null;
    } else {
      if (!open) found.push(open = []);
      open.push([point[0], point[column]]);
    }
  }
  return found;
}

// Where the reference has no value.
function hatch(pen, x, height, colour) {
  pen.strokeStyle = colour;
  pen.lineWidth = 1;
  for (const [second, bpm] of points) {
    if (bpm !== null) continue;
    pen.save();
    pen.beginPath();
    pen.rect(x(second - 1), 0, x(second) - x(second - 1), height);
    pen.clip();
    pen.beginPath();
    for (let left = -height; left < x(second); left += 8) {
      pen.moveTo(left, height);
      pen.lineTo(left + height, 0);
    }
    pen.stroke();
    pen.restore();
  }
}

// --- The screen stays on where the browser lets it: only on https, or on the computer itself

let wakeWords = '';

async function stayAwake() {
  if (!('wakeLock' in navigator)) {
    wakeWords = isSecureContext ? 'this browser lets the screen go dark: set its time longer'
      : 'the screen may go dark: only an encrypted page can keep it on';
    return;
  }
  try {
    await navigator.wakeLock.request('screen');
    wakeWords = '';
  } catch (error) {
    wakeWords = 'the screen may go dark: the phone does not allow it to stay on';
  }
}

// --- Hands

at('marker').addEventListener('click', () => { press('marker', {}); draw(); });
at('known').addEventListener('click', () => {
  const alarm = state.get('alarm');
  if (alarm) alarmKnown = alarm.headline;
  const warnings = calls();
  if (warnings.length) press('known', {warnings});
  draw();
});
document.addEventListener('visibilitychange', () => {
  if (document.visibilityState !== 'visible') return;
  stayAwake();
  if (performance.now() - heardAt > SILENT_MS) lose();
  waitMs = FIRST_WAIT_MS;
  connect();
});
addEventListener('online', () => { waitMs = FIRST_WAIT_MS; connect(); });
addEventListener('resize', draw);
matchMedia('(prefers-color-scheme: dark)').addEventListener('change', draw);

setInterval(() => {
  if (!over && socket && performance.now() - heardAt > SILENT_MS) lose();
  draw();
}, 1000);
stayAwake();
connect();
