// Who is signed in at this screen.
import { ask, get, post, Refusal } from "./ask";

export type Role = "viewer" | "rigger" | "planner" | "admin";
const order: Role[] = ["viewer", "rigger", "planner", "admin"];

export interface Me {
  name: string;
  role: Role;
  setup: boolean; // nobody is registered yet
  open: boolean; // no sign-in is asked for
}

let me = $state<Me | null | undefined>(undefined); // undefined: not asked yet

export const person = {
  get me() {
    return me;
  },
  may(role: Role): boolean {
    return !!me && (me.open || order.indexOf(me.role) >= order.indexOf(role));
  },
  async refresh() {
    try {
      me = await get<Me>("/api/me");
    } catch (e) {
      if (e instanceof Refusal && e.status === 401) me = null;
      else if (e instanceof Refusal && e.status === 404) me = { name: "", role: "admin", setup: false, open: true };
      else throw e;
    }
  },
  async enter(name: string, password: string) {
    me = await post<Me>("/api/session", { name, password });
  },
  async leave() {
    await ask("DELETE", "/api/session");
    me = null;
  },
};
