// A server that shows what it is given: the built app, and a watch that stands
// as a test says, twenty times a second. What the program itself does is looked
// at with the program; here it is how the screens tell what they are told.
import { createServer, type Server, type ServerResponse } from "node:http";
import { existsSync, readFileSync } from "node:fs";
import type { AddressInfo, Socket } from "node:net";
import { extname, join } from "node:path";
import type { Above, Card, Me, Watch, WatchAlarm, WatchCell } from "../src/lib/shapes";

const kinds: Record<string, string> = { ".js": "text/javascript", ".css": "text/css", ".html": "text/html", ".svg": "image/svg+xml", ".webmanifest": "application/manifest+json" };
// As internal/server has it.
const policy =
  "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob:; connect-src 'self'; font-src 'self'; manifest-src 'self'; worker-src 'self'; media-src 'self' blob:; base-uri 'none'; form-action 'none'; frame-ancestors 'none'; require-trusted-types-for 'script'";

const cell = (channel: string, leg: string, n: number, plan: number): WatchCell => ({
  channel, leg, quality: "good", age_s: 0.1, read_N: n, gross_N: n + 100, net_N: n, slow_N: n, peak_N: n + 900, peak_at_least: false,
  plan_low_N: plan - 1200, plan_N: plan, plan_high_N: plan + 1200, warn_N: null, stop_N: 34300, used: n / 34300, share: 0.5, plan_share: 0.5,
  rate_N_per_s: 0, left_s: null, error_N: 64, estimate_low_N: null, estimate_high_N: null, readings: 900, late: 0, duplicates: 0, bad: 0, missed: 0,
  period_s: 0.1, signal_dBm: -60, battery: 0.8,
});

// hanging is a motor in the air on two legs, as planned.
export function hanging(): Watch {
  return {
    at: new Date().toISOString(), n: 1, state: "WITHIN PLAN", do: "", unit: { unit: "kN", newtons_per_unit: 1000, from_mass: false, step: 0.1, decimals: 1 },
    phase: "suspended", phase_s: 41, evidence: "it bounces on the rope", total_N: 44410, total_error_N: 128, total_estimated: false, total_stop_N: 55000,
    total_used: 44410 / 55000, used: 0.81, worst: "E", age_s: 0.1, load_N: 43620, load_u95_N: 310, load_at_least: false, cg_m: [0.03, 0.01, 0.9], cg_u95_m: [0.012, 0.02, 0.1],
    diagnosis: [{ cause: "as_planned", probability: 0.97, same_as: [], where: "", text: "It hangs as planned." }], would_tell: "",
    cells: [cell("W", "west", 24360, 24500), cell("E", "east", 27450, 27300)], hooks: {}, step: "", steps: [], extras: [], alarms: [],
    phases: [{ phase: "idle", from_s: 0, to_s: 60, evidence: "" }, { phase: "suspended", from_s: 60, to_s: 101, evidence: "it bounces on the rope" }],
    tares: [], words: [], tugs: [], zeros: [], away: [], garbled: 0, unplanned: {}, recording_at_risk: "",
    against: { weight: "as planned", plan_N: 43000, plan_low_N: 42100, plan_high_N: 44400, cg: "as planned", tilt: "not known", tilt_deg: null, tilt_limit_deg: 3 },
  };
}

export function alarm(v: Watch, a: Partial<WatchAlarm> & Pick<WatchAlarm, "kind" | "severity" | "text">): Watch {
  v.alarms.push({ key: `${a.kind}${a.where ? ` ${a.where}` : ""}`, title: a.kind, where: "", raised_at: v.at, present: true, air: false, worst_N: 35100, last_N: 35100, limit_N: 34300, seen_by: "", seen_at: null, ...a });
  v.state = v.alarms.some((x) => x.severity === "stop") ? "STOP" : "CAUTION";
  v.do ||= a.text;
  return v;
}

// tight is the load on the ground with the legs pulling.
export function tight(): Watch {
  const v = { ...hanging(), phase: "taking_load", phase_s: 6.2, load_at_least: true, load_N: 38200, load_u95_N: null, total_N: 39000, total_used: 39000 / 55000, evidence: "", cg_m: null, cg_u95_m: null };
  v.phases = [{ phase: "idle", from_s: 0, to_s: 60, evidence: "" }, { phase: "taking_load", from_s: 60, to_s: 66, evidence: "" }];
  v.diagnosis = [{ cause: "cannot_tell", probability: 1, same_as: ["held_down"], where: "", text: "Nothing proves yet that the load is free." }];
  v.would_tell = "Look for daylight all round and say so.";
  v.against = { ...v.against, weight: "not known", cg: "not known" };
  return alarm(v, { kind: "not_proved_free", severity: "caution", text: "The force has stopped rising and nothing proves that it hangs. Do not lift on. Look for daylight all round and say so.", last_N: 39000, limit_N: null });
}

// held is the load held down, past a leg's stop; a shock before it is over.
export function held(): Watch {
  const v = { ...tight(), alarms: [], do: "", phase: "held_down", total_N: 57200, total_used: 57200 / 55000 };
  Object.assign(v.cells[1]!, { read_N: 35100, peak_N: 35400, used: 35100 / 34300, rate_N_per_s: 900 });
  v.diagnosis = [{ cause: "held_down", probability: 0.9, same_as: ["heavier"], where: "", text: "Something holds the load: a bolt, a pipe, suction." }];
  alarm(v, { kind: "leg_stop", severity: "stop", where: "E", text: "E reads 35.1 kN, stop is 34.3 kN. Stop. Slack off." });
  return alarm(v, { kind: "shock", severity: "stop", text: "The hooks went from 44.1 kN to 57.2 kN at once. Stop. Slack off. Look at the gear.", present: false });
}

// blind is the motor in the air with one cell lost.
export function blind(): Watch {
  const v: Watch = { ...hanging(), state: "NO READING", do: "E has said nothing for 5 s. Hold still until it reads again.", age_s: 5.2, total_estimated: true };
  Object.assign(v.cells[1]!, { quality: "lost", age_s: 5.2, estimate_low_N: 25900, estimate_high_N: 28800 });
  return v;
}

// idle is before the lift.
export function idle(): Watch {
  const v: Watch = { ...hanging(), phase: "idle", total_N: 420, total_used: 0.008, load_N: null, cg_m: null, worst: "", diagnosis: [], phases: [{ phase: "idle", from_s: 0, to_s: 60, evidence: "" }] };
  for (const c of v.cells) Object.assign(c, { read_N: 30, peak_N: 60, used: 0.001 });
  return v;
}

// crowd has as many legs as it is told.
export function crowd(n: number): Watch {
  const v = hanging();
  v.cells = Array.from({ length: n }, (_, i) => cell(`C${i}`, `leg ${i}`, 20000 + 500 * i, 21000));
  return v;
}

const above = (v: Watch): Above => ({
  legs: v.cells.map((c, i) => ({ leg: c.leg, channel: c.channel, at_m: v.cells.length === 2 ? [i ? 0.7 : -0.7, 0] : [1.5 * Math.cos((2 * Math.PI * i) / v.cells.length), 1.2 * Math.sin((2 * Math.PI * i) / v.cells.length)], plan_N: c.plan_N, wll_N: 32000, parts: [{ where: `legs.${c.leg}.stack[1]`, kind: "bow shackle", serial: "", limit_N: 34000 }] })),
  box_m: [[-0.8, -0.7], [0.8, 0.7]], cg_m: [0.01, 0, 0.8], cg_low_m: [-0.06, -0.04, 0.7], cg_high_m: [0.08, 0.04, 0.9], hook_m: [0.01, 0],
});

export class Pretend {
  url = "";
  view: Watch = hanging();
  me: Me = { name: "", role: "", open: true, setup: false, by_pin: false, hub: false };
  still = false; // the watch says nothing new
  none = false; // no lift is on the watch
  entered: { path: string; body: Record<string, unknown> }[] = [];
  readonly #streams = new Set<ServerResponse>();
  readonly #sockets = new Set<Socket>();
  #server!: Server;
  #timer!: ReturnType<typeof setInterval>;
  #cut = false;
  #beat = 0;

  async start(): Promise<this> {
    this.#server = createServer((q, r) => {
      const path = new URL(q.url!, "http://x").pathname;
      const json = (body: unknown, code = 200) => r.writeHead(code, { "Content-Type": "application/json" }).end(JSON.stringify(body));
      r.setHeader("Content-Security-Policy", policy);
      if (path === "/api/watch/stream") {
        if (this.none) return json({ faults: [{ code: "reference", what: "no lift is on the watch" }] }, 404);
        r.writeHead(200, { "Content-Type": "text/event-stream" });
        this.#send(r, "hello", { now: this.view.at, title: "Pump motor out of well 3", revision: "B", sha256: String(this.view.cells.length), cautions: "This informs a competent person; it does not release the lift.", beat_s: 0.3, page: "1" });
        this.#send(r, "view", this.view);
        this.#streams.add(r);
        q.on("close", () => this.#streams.delete(r));
      } else if (q.method === "POST") {
        let text = "";
        q.on("data", (b) => (text += b));
        q.on("end", () => {
          this.entered.push({ path, body: JSON.parse(text) as Record<string, unknown> });
          this.#judge(path, JSON.parse(text) as Record<string, string>);
          json(this.view);
        });
      } else if (path === "/api/me") json(this.me);
      else if (path === "/api/watch" && this.none) json({ faults: [{ code: "reference", what: "no lift is on the watch" }] }, 404);
      else if (path === "/api/watch") json(this.view);
      else if (path === "/api/watch/above") json(above(this.view));
      else if (path === "/api/watch/trend") json({ channel: "total", since: this.view.at, points: [] });
      else if (path === "/api/status") json({ ready: true, parts: [{ name: "recording", state: "ok", text: "" }] });
      else if (path === "/api/card")
        json({ total: { low_N: 43000, nominal_N: 44000, high_N: 45200 }, tug_test: this.view.cells.map((c) => ({ leg: c.leg, least_pull_N: 190, share: {} })), tug_test_tells: true } as unknown as Card);
      else {
        const file = join("dist", extname(path) && existsSync(join("dist", path)) ? path : "index.html");
        r.writeHead(200, { "Content-Type": kinds[extname(file)] ?? "application/octet-stream" }).end(readFileSync(file));
      }
    });
    this.#server.on("connection", (s) => {
      this.#sockets.add(s);
      s.on("close", () => this.#sockets.delete(s));
      if (this.#cut) s.pause();
    });
    await new Promise<void>((done) => this.#server.listen(0, "127.0.0.1", done));
    this.url = `http://127.0.0.1:${(this.#server.address() as AddressInfo).port}`;
    this.#timer = setInterval(() => this.tell(), 50);
    return this;
  }

  // cut has nothing get through any more, with nobody told.
  set cut(on: boolean) {
    this.#cut = on;
    if (!on) for (const s of this.#sockets) s.resume();
  }

  tell(): void {
    if (this.#cut) return;
    if (!this.still) {
      this.view.at = new Date().toISOString();
      this.view.n++;
    }
    const beat = ++this.#beat % 6 === 0;
    for (const r of this.#streams) {
      if (!this.still) this.#send(r, "view", this.view);
      if (beat) this.#send(r, "beat", { now: this.view.at });
    }
  }

  // day tells the view as of another time.
  day(at: number): void {
    this.view.at = new Date(at).toISOString();
    for (const r of this.#streams) this.#send(r, "view", this.view);
  }

  #send(r: ServerResponse, event: string, data: unknown): void {
    r.write(`event: ${event}\ndata: ${JSON.stringify(data)}\n\n`);
  }

  // judge does the least that an engine would.
  #judge(path: string, body: Record<string, string>): void {
    const v = structuredClone(this.view);
    const a = v.alarms.find((x) => x.key === body.alarm);
    if (path.endsWith("/ack") && a) a.seen_by = body.who ?? "";
    if (path.endsWith("/clear") && a && !a.present) v.alarms = v.alarms.filter((x) => x !== a);
    if (path.endsWith("/word")) v.words.push({ at: v.at, who: body.who ?? "", verified: false, says: body.says ?? "", step: "" });
    if (path.endsWith("/tare")) v.tares.push({ at: v.at, who: body.who ?? "", kind: body.kind ?? "", insists: false, off_N: {}, refused: "" });
    if (path.endsWith("/tug")) v.tugs.push({ at: v.at, who: body.who ?? "", leg: body.leg ?? "", found: "", pull_N: null, load_N: null, error_N: null, result: "waiting" });
    this.view = v;
  }

  async end(): Promise<void> {
    clearInterval(this.#timer);
    for (const s of this.#sockets) s.destroy();
    await new Promise((done) => this.#server.close(done));
  }
}
