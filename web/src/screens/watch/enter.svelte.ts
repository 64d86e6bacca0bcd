// What a person enters on the watch, in the name of who is signed in or, where
// nobody signs in, of the name written at the top. A hold goes without a name.
import { Refusal, post } from "../../lib/ask";
import { person } from "../../lib/me.svelte";
import { t } from "../../lib/words.svelte";

export class Entries {
  told = $state("");
  wrong = $state(false);
  busy = $state(false);
  #quiet: ReturnType<typeof setTimeout> | undefined;

  say(text: string, wrong: boolean): void {
    this.told = text;
    this.wrong = wrong;
    clearTimeout(this.#quiet);
    this.#quiet = setTimeout(() => (this.told = ""), wrong ? 8000 : 3000);
  }

  // send enters something under /api/watch and says whether it was taken.
  async send(path: string, body: object, done: string): Promise<boolean> {
    const me = person.me;
    if (path !== "hold" && me?.open && person.claim.trim() === "") {
      document.querySelector<HTMLInputElement>(".claim input")?.focus();
      this.say(t("watch.name"), true);
      return false;
    }
    this.busy = true;
    try {
      await post(`/api/watch/${path}`, { ...body, ...person.who });
      this.say(done, false);
      return true;
    } catch (e) {
      this.say(`${t("watch.notdone")} ${e instanceof Refusal ? e.message : String(e)}`, true);
      return false;
    } finally {
      this.busy = false;
    }
  }

  word = (says: string, done: string) => this.send("word", { says }, t("watch.entered", { what: done }));
}
