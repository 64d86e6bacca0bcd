// Figures as the crew reads them, in the one unit of the lift: rounded to what
// the cells are worth, limits down to that, spreads and shares up.
import type { WatchUnit } from "./shapes";

const step = (n: number, u: WatchUnit, round: (x: number) => number) => (round(n / u.newtons_per_unit / u.step) * u.step || 0).toFixed(u.decimals);

export const none = "–";
export const force = (n: number | null | undefined, u: WatchUnit) => (n == null ? none : step(n, u, Math.round));
export const limit = (n: number | null | undefined, u: WatchUnit) => (n == null ? none : step(n, u, (x) => Math.floor(x + 1e-9)));
export const more = (n: number, u: WatchUnit) => step(n, u, (x) => Math.max(1, Math.ceil(x - 1e-9)));
export const share = (x: number | null | undefined) => (x == null ? none : String(Math.max(0, Math.ceil(100 * x - 1e-9))));

export function age(s: number | null | undefined): string {
  if (s == null || !Number.isFinite(s)) return "";
  if (s < 9.95) return `${s.toFixed(1)} s`;
  return s < 120 ? `${Math.round(s)} s` : `${Math.round(s / 60)} min`;
}
