// What the watch says, in the language of the screen. The program's own
// sentences are English; elsewhere kind, figures and what to do make one.
import type { Watch, WatchAlarm, WatchUnit } from "../../lib/shapes";
import { force, limit } from "../../lib/units";
import { speech, t, type Key } from "../../lib/words.svelte";

export const titled = (a: { kind: string }) => t(`alarm.${a.kind}` as Key);

export function sentence(a: WatchAlarm, u: WatchUnit): string {
  if (speech.language === "en") return a.text;
  const figures = a.last_N === null ? "" : a.limit_N === null ? `${force(a.last_N, u)} ${u.unit}` : t("watch.figures", { now: `${force(a.last_N, u)} ${u.unit}`, limit: `${limit(a.limit_N, u)} ${u.unit}` });
  return [titled(a) + (a.where ? `, ${a.where}` : ""), figures, t(`alarm.${a.kind}.${a.air ? "air" : "ground"}` as Key)].filter(Boolean).join(". ").replaceAll("..", ".");
}

// doing is what the worst alarm asks for; empty: nothing.
export function doing(v: Watch): string {
  const worst = v.alarms[0];
  return worst ? sentence(worst, v.unit) : v.do;
}

// told is the likeliest explanation, and what it cannot be told apart from.
export function told(v: Watch): { text: string; or: string[] } {
  const c = v.diagnosis[0];
  if (!c) return { text: t("watch.nottold"), or: [] };
  return { text: speech.language === "en" && c.text ? c.text : t(`cause.${c.cause}` as Key), or: c.same_as.map((s) => t(`cause.${s}` as Key)) };
}
