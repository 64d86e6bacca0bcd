// The screen stays awake while the watch is looked at. Away from loopback that
// takes TLS; a browser may refuse, and lets go whenever the page is hidden.
export class Wake {
  held = $state(false);
  #lock: WakeLockSentinel | undefined;
  #over = false;
  readonly #again = () => void this.#ask();

  constructor() {
    document.addEventListener("visibilitychange", this.#again);
    void this.#ask();
  }

  close(): void {
    this.#over = true;
    document.removeEventListener("visibilitychange", this.#again);
    void this.#lock?.release();
  }

  async #ask(): Promise<void> {
    if (document.visibilityState !== "visible" || this.held || !("wakeLock" in navigator)) return;
    try {
      const lock = await navigator.wakeLock.request("screen");
      if (this.#over) {
        void lock.release();
        return;
      }
      this.#lock = lock;
      this.held = true;
      lock.addEventListener("release", () => (this.held = false));
    } catch {
      this.held = false; // low battery, say
    }
  }
}
