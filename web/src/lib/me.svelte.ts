// Who is signed in at this screen. Where no sign-in is asked for, a name is a
// claim, written once for every entry.
import { ask, get, post, Refusal } from "./ask";
import type { Me } from "./shapes";

const order = ["viewer", "rigger", "planner", "admin"] as const;
export type Role = (typeof order)[number];

let me = $state<Me | undefined>(undefined); // undefined: not asked yet
let claim = $state(localStorage.getItem("claim") ?? "");
// Who has signed in on this device, for changing hands with gloves on.
let seen = $state<string[]>(JSON.parse(localStorage.getItem("seen") ?? "[]") as string[]);
const mostSeen = 12;

function signed(as: Me) {
  me = as;
  if (!as.name) return;
  seen = [as.name, ...seen.filter((n) => n !== as.name)].slice(0, mostSeen);
  localStorage.setItem("seen", JSON.stringify(seen));
}

export const person = {
  get me() {
    return me;
  },
  // inside tells whether the app may be shown at all.
  get inside() {
    return !!me && !me.setup && (me.open || me.name !== "");
  },
  get claim() {
    return claim;
  },
  set claim(name: string) {
    claim = name;
    localStorage.setItem("claim", name);
  },
  get seen(): readonly string[] {
    return seen;
  },
  // who goes into orders; the program counts it only where nobody signs in.
  get who(): { who: string } | Record<string, never> {
    return me?.open ? { who: claim.trim() } : {};
  },
  may(role: Role): boolean {
    return !!me && (me.open || order.indexOf(me.role as Role) >= order.indexOf(role));
  },
  async refresh() {
    try {
      me = await get<Me>("/api/me");
    } catch (e) {
      if (!(e instanceof Refusal) || e.status !== 401) throw e;
      me = { name: "", role: "", setup: false, open: false, by_pin: false, hub: false }; // nobody is signed in
    }
  },
  async enter(name: string, password: string) {
    signed(await post<Me>("/api/session", { name, password }));
  },
  async enterByPIN(name: string, pin: string) {
    signed(await post<Me>("/api/session/pin", { name, pin }));
  },
  async begin(code: string, name: string, password: string) {
    signed(await post<Me>("/api/setup", { code, name, password }));
  },
  async leave() {
    await ask("DELETE", "/api/session");
    await this.refresh();
  },
};
