// Sound beside word, shape and colour, never alone. Stop, caution and a missing
// reading differ by rhythm as well as by pitch, for ears that hear no pitch in
// the noise of a site. Browsers let a page sound only after a touch.
import type { Watch } from "./shapes";

export type Call = "stop" | "caution" | "blind";

// Each is [at, length, Hz] within a period, s: stop three short and again at
// once, caution one long now and then, blind two low ones. Common practice of
// site horns, no source.
export const rhythms: Record<Call, { period: number; tones: [number, number, number][] }> = {
  stop: { period: 0.9, tones: [[0, 0.14, 988], [0.2, 0.14, 988], [0.4, 0.14, 988]] },
  caution: { period: 3, tones: [[0, 0.6, 587]] },
  blind: { period: 1.8, tones: [[0, 0.3, 330], [0.45, 0.3, 262]] },
};

// call is what has to be heard: an alarm until somebody has seen it, a missing
// reading as long as it is missing.
export function call(state: Watch["state"], alarms: { severity: string; seen_by: string }[]): Call | undefined {
  const unseen = alarms.filter((a) => a.seen_by === "");
  if (unseen.some((a) => a.severity === "stop")) return "stop";
  if (state === "NO READING") return "blind";
  return unseen.length ? "caution" : undefined;
}

export class Sound {
  on = $state(false); // it can be heard, as far as a page can tell
  sounds = $state<Call>(); // now
  #context: AudioContext | undefined;
  #timer: ReturnType<typeof setInterval> | undefined;
  #next = 0;

  // turn is for a touch: nothing else may switch it on.
  async turn(): Promise<void> {
    if (this.on) {
      this.close();
      return;
    }
    const context = (this.#context = new AudioContext());
    context.onstatechange = () => (this.on = context.state === "running");
    await context.resume();
    this.on = context.state === "running";
    this.#tone(context.currentTime, 0.1, 660);
    this.#timer = setInterval(() => this.#play(), 100);
  }

  close(): void {
    clearInterval(this.#timer);
    void this.#context?.close();
    this.#context = undefined;
    this.on = false;
  }

  #play(): void {
    const c = this.#context;
    if (!c || !this.sounds) {
      this.#next = 0;
      return;
    }
    if (c.currentTime < this.#next) return;
    const r = rhythms[this.sounds];
    for (const [at, length, hz] of r.tones) this.#tone(c.currentTime + at, length, hz);
    this.#next = c.currentTime + r.period;
  }

  #tone(at: number, length: number, hz: number): void {
    const c = this.#context;
    if (!c) return;
    const o = c.createOscillator();
    const g = c.createGain();
    o.type = "square"; // carries through noise
    o.frequency.value = hz;
    // Soft edges: a click is taken for a fault of the tablet.
    g.gain.setValueAtTime(0, at);
    g.gain.linearRampToValueAtTime(0.6, at + 0.01);
    g.gain.setValueAtTime(0.6, at + length - 0.02);
    g.gain.linearRampToValueAtTime(0, at + length);
    o.connect(g).connect(c.destination);
    o.start(at);
    o.stop(at + length);
  }
}
