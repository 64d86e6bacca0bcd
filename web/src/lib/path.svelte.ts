// The address: paths of the app, no page loads.

let at = $state(location.pathname);
let query = $state(location.search);

addEventListener("popstate", () => {
  at = location.pathname;
  query = location.search;
});

// A link of the app is followed without leaving it.
addEventListener("click", (e) => {
  const a = (e.target as Element | null)?.closest?.("a");
  if (!a || a.origin !== location.origin || a.target || a.hasAttribute("download") || "leaves" in a.dataset || a.pathname.startsWith("/api/")) return;
  if (e.defaultPrevented || e.button !== 0 || e.metaKey || e.ctrlKey || e.shiftKey || e.altKey) return;
  e.preventDefault();
  visit(a.pathname + a.search);
});

export function visit(to: string, replace = false): void {
  history[replace ? "replaceState" : "pushState"](null, "", to);
  at = location.pathname;
  query = location.search;
  scrollTo(0, 0);
}

export const path = {
  get at(): string {
    return at;
  },
  // parts are what stands between the slashes, decoded.
  get parts(): string[] {
    return at.split("/").filter(Boolean).map(decodeURIComponent);
  },
  get query(): URLSearchParams {
    return new URLSearchParams(query);
  },
};
