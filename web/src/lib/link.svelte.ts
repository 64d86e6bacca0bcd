// Whether what the screen shows came over the link just now, or was seen earlier
// and kept on this device.

let old = $state<number | undefined>(undefined); // since when the oldest of it lies here, ms
let now = $state(Date.now());
let round = $state(0);
let trying: ReturnType<typeof setInterval> | undefined;
const again = 3000; // ms

export const link = {
  // seen is the moment at which the oldest of what is shown was true.
  get seen(): Date | undefined {
    return old === undefined ? undefined : new Date(old);
  },
  // age of that, s.
  get age(): number {
    return old === undefined ? 0 : Math.max(0, Math.round((now - old) / 1000));
  },
  // round counts how often the link came back: screens load anew then.
  get round(): number {
    return round;
  },
  // note takes notice of an answer that was kept.
  note(at: string): void {
    const t = Date.parse(at);
    if (Number.isNaN(t)) return;
    old = Math.min(old ?? t, t);
    now = Date.now();
    trying ??= setInterval(() => void look(), again);
  },
};

async function look() {
  now = Date.now();
  try {
    if (!(await fetch("/healthz", { signal: AbortSignal.timeout(again) })).ok) return;
  } catch {
    return;
  }
  if (!trying) return; // an earlier look was answered first
  clearInterval(trying);
  trying = undefined;
  old = undefined;
  round++;
}

// What TypeScript's own library does not know yet.
declare global {
  interface Window {
    trustedTypes?: { createPolicy(name: string, rules: { createScriptURL(url: string): string }): { createScriptURL(url: string): unknown } };
  }
}

// install has the browser keep the app. The address of the worker is the one
// script address that is let through.
export async function install(): Promise<void> {
  if (!("serviceWorker" in navigator) || !import.meta.env.PROD) return; // without TLS there is none
  const address = "/sw.js";
  const trusted = window.trustedTypes?.createPolicy("worker", {
    createScriptURL: (url) => {
      if (url !== address) throw new TypeError("no worker of ours");
      return url;
    },
  });
  await navigator.serviceWorker.register((trusted?.createScriptURL(address) as string | undefined) ?? address).catch((e: unknown) => console.info("not kept for offline:", e));
}

// A part of the app that is gone since an upgrade: load the new app, once.
addEventListener("vite:preloadError", (e) => {
  const last = Number(sessionStorage.getItem("renewed") ?? 0);
  if (Date.now() - last < 10_000) return;
  e.preventDefault();
  sessionStorage.setItem("renewed", String(Date.now()));
  location.reload();
});
