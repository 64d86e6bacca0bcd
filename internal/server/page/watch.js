import { age, connect, force, limit, more, post, put, share, shown, trouble } from "/page/link.js";

const $ = (id) => document.getElementById(id);
const PHASES = { idle: "NO LOAD ON", taking_load: "TAKING LOAD", held_down: "HELD DOWN", suspended: "HANGING", setting_down: "SETTING DOWN" };
const SPAN = 120; // s of trend
let now = null; // the newest view
let link = { lost: true, still: false, since: Infinity };
let plan = { weight: null, low: null, high: null };

// --- what is shown ---

function draw() {
  const v = now;
  const bad = trouble(link, v !== null);
  $("lost").hidden = !bad;
  if (bad) {
    put($("lost-word"), bad[0]);
    put($("lost-text"), bad[1]);
  }
  document.body.dataset.old = bad ? "yes" : "no";
  const state = shown(v, link);
  $("band").dataset.state = state;
  put($("state"), state);
  put(document.querySelector("title"), `${bad ? bad[0] : state} – Watch`);
  if (bad && state !== "STOP") put($("do"), "What stands below is old. Hold still until it reads again.");
  else if (v) put($("do"), v.do || (state === "NO READING" ? "A cell says nothing. Do not go by the total." : ""));
  if (!v) return;

  const u = v.unit;
  for (const n of document.querySelectorAll(".unit")) put(n, u.unit);
  const gone = Boolean(bad) || v.total_N === null;
  // Worked out from the other cells it is a number, and no reading.
  const about = v.total_estimated && v.total_N !== null ? "≈" : "";
  put($("total"), about + force(v.total_N, u));
  $("total").parentNode.classList.toggle("old", gone);
  $("total").parentNode.classList.toggle("guess", about !== "");
  const cells = v.cells.filter((c) => c.quality !== "good");
  const ago = v.age_s === null ? null : v.age_s + (bad ? link.since : 0);
  put($("total-note"), v.total_N === null ? "cannot be told"
    : v.total_estimated ? "ESTIMATE: " + cells.map((c) => c.channel).join(", ") + " not read"
    : `gross, ${age(ago)} old`);
  $("total-note").classList.toggle("loud", v.total_estimated || v.total_N === null);
  put($("share"), v.total_used === null ? "–" : about + share(v.total_used));
  $("share").parentNode.classList.toggle("old", gone);
  $("share").parentNode.classList.toggle("guess", about !== "");
  $("share-bar").style.width = Math.min(100, 100 * (v.total_used ?? 0)) + "%";
  $("share-bar").classList.toggle("over", v.total_used >= 1);
  put($("share-note"), v.total_stop_N === null ? "no stop set for the total" : `stop ${limit(v.total_stop_N, u)} ${u.unit}`);

  const worst = v.cells.find((c) => c.channel === v.worst);
  put($("worst"), worst ? share(worst.used) : "–");
  put($("worst-unit"), worst ? "% " + worst.leg : "");
  $("worst").parentNode.classList.toggle("old", Boolean(bad) || !worst || worst.quality !== "good");
  put($("worst-note"), worst && worst.quality !== "good" ? `not read, last ${force(worst.read_N, u)} of ${limit(worst.stop_N, u)} ${u.unit}` : worst ? `${force(worst.read_N, u)} of ${limit(worst.stop_N, u)} ${u.unit}${hurry(worst)}` : "no leg has a stop limit");

  put($("phase"), v.phase ? `${PHASES[v.phase] ?? v.phase}, ${age(v.phase_s)}` : "–");
  $("free").hidden = v.phase !== "taking_load" && v.phase !== "held_down";
  put($("evidence"), v.phase === "suspended" && v.evidence ? "Free: " + v.evidence : "");
  put($("weight"), weight(v));
  put($("says-text"), v.diagnosis[0]?.text || "Nothing to go by yet.");
  put($("tell"), v.would_tell ? "What would tell: " + v.would_tell : "");
  $("zero").hidden = v.phase !== "idle";
  legs(v, Boolean(bad));
  alarms(v);
}

const hurry = (c) => c.left_s !== null && c.left_s < 30 ? `, there in ${age(c.left_s)}` : "";

function weight(v) {
  const u = v.unit;
  // What something holds down pulls more than it weighs.
  if (v.phase === "held_down") return "Weight cannot be told while it is held" + planned(u);
  if (v.load_N === null) return "Weight not known yet" + planned(u);
  if (v.load_at_least) return `Load alone AT LEAST ${force(v.load_N, u)} ${u.unit}` + planned(u);
  const band = v.load_u95_N === null ? "" : ` ± ${more(v.load_u95_N, u)}`;
  return `Load alone weighs ${force(v.load_N, u)}${band} ${u.unit}` + planned(u);
}

const planned = (u) => plan.weight === null ? "" : `, planned ${force(plan.weight, u)} ${u.unit}`;

// --- legs ---

const rows = new Map();

function legs(v, old) {
  for (const c of v.cells) {
    if (!rows.has(c.channel)) rows.set(c.channel, leg(c));
    const r = rows.get(c.channel);
    const full = 1.08 * Math.max(c.stop_N ?? 0, c.plan_high_N, c.peak_N ?? 0, c.warn_N ?? 0, 1);
    const at = (n) => Math.max(0, Math.min(100, 100 * n / full)) + "%";
    const dead = old || c.quality !== "good";
    r.row.classList.toggle("old", dead);
    r.row.classList.toggle("over", c.used >= 1);
    r.fill.style.width = c.read_N === null ? "0" : at(c.read_N);
    r.band.style.left = at(c.plan_low_N);
    r.band.style.width = at(c.plan_high_N - c.plan_low_N);
    for (const [mark, n] of [[r.stop, c.stop_N], [r.peak, c.peak_N]]) {
      mark.hidden = n === null;
      if (n !== null) mark.style.left = at(n);
    }
    put(r.value, force(c.read_N, v.unit));
    put(r.used, c.used === null ? "no stop set" : share(c.used) + " %");
    const ago = c.age_s === null ? null : c.age_s + (old ? link.since : 0);
    let note = `plan ${force(c.plan_low_N, v.unit)}–${force(c.plan_high_N, v.unit)}, stop ${limit(c.stop_N, v.unit)}`;
    if (c.quality === "no reading yet") note = "NO READING YET";
    else if (c.quality !== "good") note = `${c.quality.toUpperCase()}, ${age(ago)} OLD`;
    else if (old) note = `${age(ago)} OLD`;
    if (c.estimate_low_N !== null) note += `. Estimate ${force(c.estimate_low_N, v.unit)}–${force(c.estimate_high_N, v.unit)}`;
    put(r.note, note);
    put(r.age, dead ? "" : age(ago));
  }
}

function leg(c) {
  const make = (tag, name, into) => {
    const e = document.createElement(tag);
    e.className = name;
    into.append(e);
    return e;
  };
  const row = make("div", "leg", $("leg-list"));
  const r = { row };
  const name = make("p", "name", row);
  name.append(c.leg);
  if (c.leg !== c.channel) make("small", "", name).append(" " + c.channel);
  r.value = make("b", "value", row);
  r.used = make("span", "used", row);
  const bar = make("div", "bar", row);
  bar.setAttribute("aria-hidden", "true");
  for (const k of ["band", "fill", "peak", "stop"]) r[k] = make("i", k, bar);
  r.note = make("p", "note", row);
  r.age = make("span", "age", row);
  return r;
}

// --- alarms ---

const cards = new Map();

function alarms(v) {
  $("quiet").hidden = v.alarms.length > 0;
  const keys = new Set(v.alarms.map((a) => a.key));
  for (const [key, c] of cards) {
    if (keys.has(key)) continue;
    c.card.remove();
    cards.delete(key);
  }
  v.alarms.forEach((a, i) => {
    if (!cards.has(a.key)) cards.set(a.key, card(a));
    const c = cards.get(a.key);
    c.card.dataset.severity = a.severity;
    put(c.head, `${a.severity === "stop" ? "STOP" : "CAUTION"}: ${a.title}${a.where ? ", " + a.where : ""}`);
    put(c.text, a.text);
    put(c.seen, a.seen_by ? "Seen: " + a.seen_by : "Seen");
    c.seen.disabled = c.busy || Boolean(a.seen_by);
    c.clear.hidden = a.severity !== "stop";
    c.clear.disabled = c.busy || a.present;
    put(c.clear, a.present ? "Clear: cause still there" : "Clear");
    if ($("alarm-list").children[i] !== c.card) $("alarm-list").insertBefore(c.card, $("alarm-list").children[i] ?? null);
  });
}

function card(a) {
  const c = { card: document.createElement("article"), head: document.createElement("h3"), text: document.createElement("p"), seen: document.createElement("button"), clear: document.createElement("button"), busy: false };
  const row = document.createElement("div");
  row.className = "row";
  row.append(c.seen, c.clear);
  c.card.append(c.head, c.text, row);
  const send = async (path, what) => {
    c.busy = true;
    await enter(path, { alarm: a.key }, what);
    c.busy = false;
  };
  c.seen.onclick = () => send("ack", "Seen: " + a.title);
  c.clear.onclick = () => send("clear", "Cleared: " + a.title);
  return c;
}

// --- entries ---

const who = $("who");
who.value = sessionStorage.getItem("who") ?? "";
who.oninput = () => sessionStorage.setItem("who", who.value);

let quiet;

function tell(text, bad) {
  put($("told"), text);
  $("told").hidden = false;
  $("told").classList.toggle("bad", bad);
  clearTimeout(quiet);
  quiet = setTimeout(() => { $("told").hidden = true; }, bad ? 8000 : 3000);
}

// enter sends something in the name of whoever stands at the top. A hold goes
// without a name.
async function enter(path, body, what) {
  const name = who.value.trim();
  if (!name && body.says !== "call hold") {
    who.focus();
    tell("Write your name first, once.", true);
    return;
  }
  const wrong = await post(path, { ...body, who: name });
  tell(wrong ? "NOT DONE. " + wrong : what, Boolean(wrong));
}

for (const b of document.querySelectorAll("button[data-word], button[data-tare], #mark")) {
  b.onclick = async () => {
    b.disabled = true;
    if (b.dataset.tare) await enter("tare", { kind: b.dataset.tare }, "Zeroed.");
    else if (b.dataset.word) await enter("word", { says: b.dataset.word }, "Entered: " + b.firstChild.textContent.trim());
    else await enter("mark", { text: "mark" }, "Marked.");
    b.disabled = false;
  };
}

// --- trend ---

const points = []; // {t, n}: s by this machine's clock, N or null; at most SPAN x 20

function trend() {
  const canvas = $("chart");
  const box = canvas.getBoundingClientRect();
  const scale = devicePixelRatio;
  if (canvas.width !== Math.round(box.width * scale) || canvas.height !== Math.round(box.height * scale)) {
    canvas.width = Math.round(box.width * scale);
    canvas.height = Math.round(box.height * scale);
  }
  if (!now || box.width === 0) return;
  const g = canvas.getContext("2d");
  const css = getComputedStyle(document.body);
  const colour = (name) => css.getPropertyValue("--" + name);
  g.setTransform(scale, 0, 0, scale, 0, 0);
  g.clearRect(0, 0, box.width, box.height);
  const t = performance.now() / 1000;
  const top = 1.1 * Math.max(now.total_stop_N ?? 0, plan.high ?? 0, ...points.map((p) => p.n ?? 0), 1);
  const x = (s) => box.width * (1 - (t - s) / SPAN);
  const y = (n) => box.height * (1 - n / top);
  g.font = "14px system-ui, sans-serif";
  if (plan.high !== null) {
    g.fillStyle = colour("plan");
    g.fillRect(0, y(plan.high), box.width, Math.max(3, y(plan.low) - y(plan.high)));
    g.fillStyle = colour("text");
    g.fillText("plan", 4, y(plan.high) + (y(plan.high) < 20 ? 16 : -4));
  }
  if (now.total_stop_N !== null) {
    g.fillStyle = colour("limit");
    g.fillRect(0, y(now.total_stop_N) - 1.5, box.width, 3);
    g.fillText(`stop ${limit(now.total_stop_N, now.unit)} ${now.unit.unit}`, 4, y(now.total_stop_N) - 5);
  }
  g.strokeStyle = colour("text");
  g.lineWidth = 3;
  g.lineJoin = "round";
  g.beginPath();
  let pen = false;
  for (const p of points) {
    if (p.n === null) pen = false;
    else if (pen) g.lineTo(x(p.t), y(p.n));
    else {
      g.moveTo(x(p.t), y(p.n));
      pen = true;
    }
  }
  g.stroke();
}

setInterval(() => {
  const t = performance.now() / 1000;
  const good = now && !link.lost && !link.still;
  points.push({ t, n: good ? now.total_N : null });
  while (points.length && points[0].t < t - SPAN) points.shift();
  trend();
}, 250);

// --- round about ---

const THEMES = ["auto", "sun", "dark"];

function theme(name) {
  document.documentElement.dataset.theme = name;
  put($("theme"), "Theme: " + name);
  localStorage.setItem("theme", name);
}
theme(THEMES.includes(localStorage.getItem("theme")) ? localStorage.getItem("theme") : "auto");
$("theme").onclick = () => theme(THEMES[(THEMES.indexOf(document.documentElement.dataset.theme) + 1) % THEMES.length]);

async function ask(path) {
  const r = await fetch(path);
  if (!r.ok) throw new Error(path);
  return r.json();
}

async function planning() {
  try {
    const [p, c] = await Promise.all([ask("/api/plan"), ask("/api/card")]);
    plan = { weight: p.weight.nominal_N, low: c.total.low_N, high: c.total.high_N };
  } catch {
    plan = { weight: null, low: null, high: null };
  }
}

async function parts() {
  try {
    const h = await ask("/api/status");
    const bad = h.parts.filter((p) => p.state !== "ok");
    put($("parts"), bad.map((p) => `${p.name}: ${p.text}`).join(" "));
  } catch {
    // The banner says already that there is no link.
  }
}

setInterval(parts, 5000);
parts();

connect({
  hello(h) {
    put($("lift"), h.title + (h.revision ? `, revision ${h.revision}` : ""));
    put($("cautions"), h.cautions);
    planning();
  },
  view(v) {
    now = v;
  },
  tick(l) {
    link = l;
    draw();
  },
});
