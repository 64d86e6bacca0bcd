// Which stage of a lift the screen shows, read from what the watch says.
import type { Watch } from "../../lib/shapes";

export const stages = ["before", "trial", "lift", "after"] as const;
export type Stage = (typeof stages)[number];

// begun is when the lift at hand began, ms: the end of the last rest.
function begun(v: Watch): number {
  const last = v.phases.at(-1);
  if (!last) return 0;
  const zero = Date.parse(v.at) - 1000 * (last.from_s + v.phase_s);
  const rest = v.phases.findLast((p) => p.phase === "idle");
  return zero + 1000 * (rest ? rest.from_s : 0);
}

// decision is what a named person said after the trial lift, undefined before.
export function decision(v: Watch): Watch["words"][number] | undefined {
  const from = begun(v);
  return v.words.findLast((w) => (w.says === "carry on" || w.says === "land") && Date.parse(w.at) >= from);
}

// stage follows the lift: trial from the first load until somebody decides.
export function stage(v: Watch | undefined): Stage {
  if (!v || v.phase === "" || v.phase === "idle") return v?.phases.some((p) => p.phase === "suspended") ? "after" : "before";
  return v.phase === "setting_down" || decision(v) ? "lift" : "trial";
}
