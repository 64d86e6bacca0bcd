// The service worker: keeps the app's own files and what was last seen of lifts,
// plans and gear, so that a tablet without a link can still read them. Whatever
// comes out of its store says since when it lies there, in X-Seen. It answers for
// nothing live, and never keeps anything to be sent later.

interface Lasting extends Event {
  waitUntil(p: Promise<unknown>): void;
}
interface Asking extends Lasting {
  readonly request: Request;
  respondWith(r: Promise<Response>): void;
}
const worker = self as unknown as {
  addEventListener<E extends Event>(type: string, act: (e: E) => void): void;
  skipWaiting(): Promise<void>;
  clients: { claim(): Promise<void> };
};

// The build puts the names of the app's files here, and a sum over all of them:
// another build is another worker.
declare const __SHELL__: { sum: string; files: string[] };
const shell = `shell ${__SHELL__.sum}`;
const seen = "seen";
const mostSeen = 400; // answers
const patience = 4000; // ms, that a page waits for the link when a copy is there

worker.addEventListener<Lasting>("install", (e) => {
  const all = caches.open(shell).then((c) => c.addAll(__SHELL__.files.map((f) => new Request(f, { cache: "reload" }))));
  e.waitUntil(all.then(() => worker.skipWaiting()));
});

worker.addEventListener<Lasting>("activate", (e) => {
  const old = caches.keys().then((names) => Promise.all(names.filter((n) => n !== shell && n !== seen).map((n) => caches.delete(n))));
  e.waitUntil(old.then(() => worker.clients.claim()));
});

// Read alone: what is looked at in the office, one by one; searches are not.
const kept = /^\/api\/(me|lifts|lifts\/[^/]+|lifts\/[^/]+\/revisions\/\d+|gear\/[^/]+)$/;
// Computed alone: the same text gives the same plan.
const computed = /^\/api\/(check|draw)$/;
const signsIn = /^\/api\/(setup|session|session\/pin)$/;

worker.addEventListener<Asking>("fetch", (e) => {
  const r = e.request;
  const url = new URL(r.url);
  if (url.origin !== location.origin) return;
  if (r.mode === "navigate") {
    if (/^\/(live|screen|certificate|page|api)(\/|$)/.test(url.pathname)) return; // pages of the program's own
    e.respondWith(page(r));
  } else if (r.method === "GET" && __SHELL__.files.includes(url.pathname)) e.respondWith(file(r));
  else if (r.method === "GET" && kept.test(url.pathname) && !url.search) e.respondWith(read(e, r, new Request(url.pathname)));
  else if (r.method === "POST" && computed.test(url.pathname)) e.respondWith(compute(e, r, url.pathname));
  else if (signsIn.test(url.pathname)) e.respondWith(sign(e, r));
});

// A new build shows at the next load: the link comes first.
async function page(r: Request): Promise<Response> {
  try {
    return await fetch(r, { signal: AbortSignal.timeout(patience) });
  } catch (why) {
    const there = await caches.match("/", { cacheName: shell });
    if (!there) throw why;
    return there;
  }
}

async function file(r: Request): Promise<Response> {
  return (await caches.match(r, { cacheName: shell })) ?? fetch(r);
}

async function read(e: Lasting, r: Request, key: Request): Promise<Response> {
  const copy = await caches.match(key, { cacheName: seen });
  try {
    const answer = await fetch(r, copy ? { signal: AbortSignal.any([r.signal, AbortSignal.timeout(patience)]) } : {});
    // Whose session has ended has nothing to read here any more.
    if (answer.status === 401) e.waitUntil(caches.delete(seen));
    else if (answer.ok) e.waitUntil(keep(key, answer.clone()));
    return answer;
  } catch (why) {
    if (!copy) throw why;
    return copy;
  }
}

async function compute(e: Lasting, r: Request, path: string): Promise<Response> {
  const text = await r.clone().text();
  const sum = new Uint8Array(await crypto.subtle.digest("SHA-256", new TextEncoder().encode(text)));
  const key = new Request(`${path}?of=${[...sum].map((b) => b.toString(16).padStart(2, "0")).join("")}`);
  try {
    const answer = await fetch(r);
    if (answer.ok) e.waitUntil(keep(key, answer.clone()));
    return answer;
  } catch (why) {
    const copy = await caches.match(key, { cacheName: seen });
    if (!copy) throw why;
    return copy;
  }
}

// Who signs in is who is there when the link is lost; who signs out leaves nothing.
async function sign(e: Lasting, r: Request): Promise<Response> {
  const leaves = r.method === "DELETE";
  const answer = await fetch(r);
  if (answer.ok) e.waitUntil(leaves ? caches.delete(seen) : keep(new Request("/api/me"), answer.clone()));
  return answer;
}

async function keep(key: Request, answer: Response): Promise<void> {
  const headers = new Headers(answer.headers);
  headers.set("X-Seen", new Date().toISOString());
  headers.delete("Set-Cookie");
  const c = await caches.open(seen);
  await c.put(key, new Response(await answer.arrayBuffer(), { status: 200, headers }));
  const all = await c.keys(); // oldest first
  await Promise.all(all.slice(0, Math.max(0, all.length - mostSeen)).map((k) => c.delete(k)));
}
