// The live stream, and whether what it told last can still be believed.

const LOST = 800; // ms without a word: the link is gone. Beats come every 300 ms
const STILL = 1000; // ms without a later view, though the link is there
const AGAIN = 2500; // ms after which a dead connection is opened anew

// connect calls hello, view and alarm with what comes, and tick ten times a
// second with {lost, still, since}: how long ago, in s, the view was true.
export function connect({ hello = () => {}, view, alarm = () => {}, tick }) {
  let source, opened, heard = -Infinity, viewed = -Infinity, at = "", page = "";

  const open = () => {
    source?.close();
    opened = performance.now();
    source = new EventSource("/api/watch/stream");
    const on = (name, f) => source.addEventListener(name, (e) => {
      heard = performance.now();
      f(JSON.parse(e.data));
    });
    on("hello", (h) => {
      if (page && page !== h.page) location.reload();
      page = h.page;
      hello(h);
    });
    on("view", (v) => {
      if (v.at !== at) viewed = heard;
      at = v.at;
      view(v);
      look();
    });
    on("alarm", alarm);
    on("beat", () => {});
    source.onerror = () => {
      heard = -Infinity;
      look();
    };
  };

  const look = () => {
    const now = performance.now();
    const lost = now - heard > LOST;
    if ((lost || now - viewed > AGAIN) && now - opened > AGAIN) open();
    tick({ lost, still: !lost && now - viewed > STILL, since: (now - viewed) / 1000 });
  };

  open();
  setInterval(look, 100);
  document.addEventListener("visibilitychange", look);
}

// post enters something; null when it was taken, else what to tell.
export async function post(path, body) {
  try {
    const r = await fetch("/api/watch/" + path, {
      method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(body), signal: AbortSignal.timeout(8000),
    });
    if (r.ok) return null;
    const { faults } = await r.json();
    return faults.map((f) => f.do ? `${f.what}: ${f.do}` : f.what).join(". ");
  } catch {
    return "no answer from the watch; it is not known whether this was entered";
  }
}

const step = (n, u, round) => (round(n / u.newtons_per_unit / u.step) * u.step || 0).toFixed(u.decimals);

// force is rounded to what the cells are worth, limit down to that, more up;
// share is rounded up.
export const force = (n, u) => n === null ? "–" : step(n, u, Math.round);
export const limit = (n, u) => n === null ? "–" : step(n, u, (x) => Math.floor(x + 1e-9));
export const more = (n, u) => step(n, u, (x) => Math.max(1, Math.ceil(x - 1e-9)));
export const share = (x) => x === null ? "–" : String(Math.max(0, Math.ceil(100 * x - 1e-9)));

export function age(s) {
  if (s === null || !isFinite(s)) return "";
  if (s < 9.95) return s.toFixed(1) + " s";
  return s < 120 ? Math.round(s) + " s" : Math.round(s / 60) + " min";
}

// put changes a text only where it differs, so that nothing flickers or is
// read out again.
export function put(node, text) {
  if (node.textContent !== text) node.textContent = text;
}

// shown is the state a screen shows. A state that is no longer told is none,
// but a stop stays a stop.
export function shown(view, link) {
  if (view?.state === "STOP" || view && !link.lost && !link.still) return view.state;
  return "NO READING";
}

export function trouble(link, ever) {
  const ago = ever ? ` Numbers are ${age(link.since)} old.` : "";
  if (link.lost) return ["LINK LOST", "No word from the watch." + ago];
  if (link.still) return ["WATCH STANDS STILL", "The server answers, the watch does not." + ago];
  return null;
}
