// The words of the app, one file a language. Keys are the same in all of them.
import en from "../words/en.json";
import es from "../words/es.json";

export type Key = keyof typeof en;
export const languages = { en: "English", es: "Español" } as const;
export type Language = keyof typeof languages;

const all: Record<Language, Record<Key, string>> = { en, es };
const kept = localStorage.getItem("language") ?? navigator.language.slice(0, 2);

let language = $state<Language>(kept in languages ? (kept as Language) : "en");

export const speech = {
  get language(): Language {
    return language;
  },
  set language(l: Language) {
    language = l;
    document.documentElement.lang = l;
    localStorage.setItem("language", l);
  },
};

document.documentElement.lang = speech.language;

// t gives a text, with {name} replaced by what is given.
export function t(key: Key, given: Record<string, string | number> = {}): string {
  return all[language][key].replace(/\{(\w+)\}/g, (_, name: string) => String(given[name] ?? ""));
}
