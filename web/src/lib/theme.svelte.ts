// Light, dark, or bright sun: black on white, nothing grey.
export const themes = ["auto", "light", "dark", "sun"] as const;
export type Theme = (typeof themes)[number];

const night = matchMedia("(prefers-color-scheme: dark)");
const kept = localStorage.getItem("theme");
let theme = $state<Theme>(themes.find((t) => t === kept) ?? "auto");

function show() {
  document.documentElement.dataset.theme = theme === "auto" ? (night.matches ? "dark" : "light") : theme;
}
night.addEventListener("change", show);
show();

export const look = {
  get theme(): Theme {
    return theme;
  },
  set theme(t: Theme) {
    theme = t;
    localStorage.setItem("theme", t);
    show();
  },
};
