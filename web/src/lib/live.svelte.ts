// The live stream, and whether what it told last can still be believed.
import { Refusal, get } from "./ask";
import type { Watch, WatchHello } from "./shapes";

// Link is how far the numbers on a screen are from now.
export interface Link {
  lost: boolean; // no word from the server
  still: boolean; // the server answers, the watch tells nothing new
  away: "" | "none" | "out"; // why there is no stream: no lift on the watch, or nobody signed in
  since: number; // s since the view was true; Infinity: there was none
}

// here is a link without any trouble: of a record that is played.
export const here: Link = { lost: false, still: false, away: "", since: 0 };

export const bad = (l: Link) => l.lost || l.still || l.away !== "";

// shown is the state a screen shows. A state that is no longer told is none,
// but a stop stays a stop.
export function shown(view: Watch | undefined, link: Link): Watch["state"] {
  return view && (view.state === "STOP" || !bad(link)) ? view.state : "NO READING";
}

const LOST = 800; // ms without a word: the link is gone. Beats come every 300 ms
const STILL = 1000; // ms without a later view, though the link is there
const AGAIN = 2500; // ms after which a dead connection is opened anew

export class Live {
  view = $state.raw<Watch>();
  hello = $state.raw<WatchHello>();
  link = $state.raw<Link>({ lost: true, still: false, away: "", since: Infinity });

  #source: EventSource | undefined;
  #opened = 0;
  #heard = -Infinity;
  #viewed = -Infinity;
  #away: Link["away"] = "";
  #timer = setInterval(() => this.#look(), 100);
  readonly #wake = () => this.#look();

  constructor() {
    this.#open();
    document.addEventListener("visibilitychange", this.#wake);
  }

  close(): void {
    clearInterval(this.#timer);
    document.removeEventListener("visibilitychange", this.#wake);
    this.#source?.close();
  }

  #open(): void {
    this.#source?.close();
    this.#opened = performance.now();
    const source = (this.#source = new EventSource("/api/watch/stream"));
    const on = <T>(name: string, then: (data: T) => void) =>
      source.addEventListener(name, (e) => {
        this.#heard = performance.now();
        this.#away = "";
        then(JSON.parse((e as MessageEvent<string>).data) as T);
      });
    on<WatchHello>("hello", (h) => {
      // The server brought other pages along: these are old.
      if (this.hello && this.hello.page !== h.page) location.reload();
      this.hello = h;
    });
    on<Watch>("view", (v) => {
      if (v.at !== this.view?.at) this.#viewed = this.#heard;
      this.view = v;
      this.#look();
    });
    on("beat", () => {});
    source.onerror = () => {
      this.#heard = -Infinity;
      this.#look();
      if (source.readyState === EventSource.CLOSED) void this.#why();
    };
  }

  // why asks what the stream cannot tell: that no lift is on the watch.
  async #why(): Promise<void> {
    try {
      await get("/api/watch");
    } catch (e) {
      const status = e instanceof Refusal ? e.status : 0;
      this.#away = status === 404 ? "none" : status === 401 || status === 403 ? "out" : "";
    }
    this.#look();
  }

  #look(): void {
    const now = performance.now();
    const lost = this.#away === "" && now - this.#heard > LOST;
    const still = this.#away === "" && !lost && now - this.#viewed > STILL;
    if ((lost || this.#away !== "" || now - this.#viewed > AGAIN) && now - this.#opened > AGAIN) this.#open();
    const troubled = lost || still || this.#away !== "";
    const since = troubled ? Math.round((now - this.#viewed) / 100) / 10 : 0;
    const was = this.link;
    if (was.lost !== lost || was.still !== still || was.away !== this.#away || was.since !== since) this.link = { lost, still, away: this.#away, since };
  }
}
