package server

import (
	"bufio"
	"bytes"
	"context"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"plumbhook/watch"
)

// browser is a headless Chromium driven over its debugging pipe: messages are
// JSON with a zero byte behind them.
type browser struct {
	t    *testing.T
	to   *os.File
	mu   sync.Mutex
	next int
	wait map[int]chan json.RawMessage
	said []string // errors and warnings of the console, exceptions
	page string   // session
}

// startBrowser starts it, or skips the test where there is none.
func startBrowser(t *testing.T) *browser {
	t.Helper()
	path, err := exec.LookPath("chromium")
	if err != nil {
		t.Skip("no chromium on the PATH: the pages are not looked at (Debian: apt-get install chromium)")
	}
	toRead, to, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	from, fromWrite, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(path, "--headless=new", "--remote-debugging-pipe", "--user-data-dir="+t.TempDir(), "--no-sandbox", "--disable-gpu",
		"--no-first-run", "--disable-background-networking", "--disable-component-update", "--disable-sync", "--disable-quic", "--hide-scrollbars", "about:blank")
	cmd.ExtraFiles = []*os.File{toRead, fromWrite} // 3 and 4
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	toRead.Close()
	fromWrite.Close()
	b := &browser{t: t, to: to, wait: map[int]chan json.RawMessage{}}
	done := make(chan struct{})
	go func() {
		defer close(done)
		b.listen(from)
	}()
	t.Cleanup(func() {
		b.send("", "Browser.close", nil)
		to.Close()
		_ = cmd.Wait()
		<-done
		from.Close()
	})
	var target struct{ TargetID, SessionID string }
	b.call("", "Target.createTarget", map[string]any{"url": "about:blank"}, &target)
	b.call("", "Target.attachToTarget", map[string]any{"targetId": target.TargetID, "flatten": true}, &target)
	b.page = target.SessionID
	for _, domain := range []string{"Page", "Runtime", "Log"} {
		b.call(b.page, domain+".enable", nil, nil)
	}
	// The page notes when it last heard of the server.
	b.call(b.page, "Page.addScriptToEvaluateOnNewDocument", map[string]any{"source": `
		const Source = window.EventSource;
		window.EventSource = class extends Source {
			constructor(url) {
				super(url);
				for (const k of ["hello", "view", "alarm", "beat"]) this.addEventListener(k, () => { window.heardAt = performance.now(); });
			}
		};`}, nil)
	return b
}

func (b *browser) listen(from *os.File) {
	r := bufio.NewReader(from)
	for {
		text, err := r.ReadBytes(0)
		if err != nil {
			return
		}
		var m struct {
			ID            int
			Method        string
			Result, Error json.RawMessage
			Params        struct {
				Type             string
				Entry            struct{ Level, Text, URL string }
				ExceptionDetails json.RawMessage
				Args             []struct{ Value any }
			}
		}
		if err := json.Unmarshal(bytes.TrimSuffix(text, []byte{0}), &m); err != nil {
			continue
		}
		b.mu.Lock()
		switch {
		case m.ID > 0:
			if c := b.wait[m.ID]; c != nil {
				delete(b.wait, m.ID)
				if m.Error != nil {
					m.Result = m.Error
				}
				c <- m.Result
			}
		case m.Method == "Log.entryAdded" && m.Params.Entry.Level != "info" && m.Params.Entry.Level != "verbose":
			b.said = append(b.said, m.Params.Entry.Text+" "+m.Params.Entry.URL)
		case m.Method == "Runtime.exceptionThrown":
			b.said = append(b.said, string(m.Params.ExceptionDetails))
		case m.Method == "Runtime.consoleAPICalled" && (m.Params.Type == "error" || m.Params.Type == "warning"):
			b.said = append(b.said, fmt.Sprint(m.Params.Args))
		}
		b.mu.Unlock()
	}
}

func (b *browser) send(session, method string, params any) chan json.RawMessage {
	c := make(chan json.RawMessage, 1)
	b.mu.Lock()
	b.next++
	id := b.next
	b.wait[id] = c
	b.mu.Unlock()
	m := map[string]any{"id": id, "method": method}
	if session != "" {
		m["sessionId"] = session
	}
	if params != nil {
		m["params"] = params
	}
	text, err := json.Marshal(m)
	if err == nil {
		_, _ = b.to.Write(append(text, 0))
	}
	return c
}

// call waits for the answer, which lands in out.
func (b *browser) call(session, method string, params, out any) {
	b.t.Helper()
	select {
	case answer := <-b.send(session, method, params):
		if out == nil {
			return
		}
		if err := json.Unmarshal(answer, out); err != nil {
			b.t.Fatalf("%s: %v in %s", method, err, answer)
		}
	case <-time.After(time.Minute):
		b.t.Fatalf("%s: no answer", method)
	}
}

// eval gives the value of an expression in the page.
func (b *browser) eval(expression string) any {
	b.t.Helper()
	var out struct {
		Result           struct{ Value any }
		ExceptionDetails json.RawMessage
	}
	b.call(b.page, "Runtime.evaluate", map[string]any{"expression": expression, "returnByValue": true, "awaitPromise": true}, &out)
	if out.ExceptionDetails != nil {
		b.t.Fatalf("%s: %s", expression, out.ExceptionDetails)
	}
	return out.Result.Value
}

// until waits for an expression to become true.
func (b *browser) until(expression string) {
	b.t.Helper()
	for range 600 {
		if b.eval("Boolean("+expression+")") == true {
			return
		}
		time.Sleep(50 * time.Millisecond)
	}
	b.t.Fatalf("never true: %s; the page shows: %v", expression, b.eval("document.body.innerText"))
}

// look sets size and theme.
func (b *browser) look(width, height int, theme string) {
	b.call(b.page, "Emulation.setDeviceMetricsOverride", map[string]any{"width": width, "height": height, "deviceScaleFactor": 1, "mobile": width < 600}, nil)
	b.call(b.page, "Emulation.setEmulatedMedia", map[string]any{"features": []any{map[string]any{"name": "prefers-color-scheme", "value": theme}}}, nil)
}

// shoot keeps what the screen shows, the whole page when asked.
func (b *browser) shoot(name string, whole bool) {
	b.t.Helper()
	var out struct{ Data string }
	b.call(b.page, "Page.captureScreenshot", map[string]any{"captureBeyondViewport": whole}, &out)
	png, err := base64.StdEncoding.DecodeString(out.Data)
	if err != nil || len(png) == 0 {
		b.t.Fatalf("no picture: %v", err)
	}
	if err := os.WriteFile(filepath.Join(b.t.ArtifactDir(), name+".png"), png, 0o644); err != nil {
		b.t.Fatal(err)
	}
}

// clean fails on what the page complained of, apart from what is expected.
func (b *browser) clean(but ...string) {
	b.t.Helper()
	b.mu.Lock()
	defer b.mu.Unlock()
complaints:
	for _, s := range b.said {
		for _, ok := range but {
			if strings.Contains(s, ok) {
				continue complaints
			}
		}
		b.t.Errorf("the page complains: %s", s)
	}
	b.said = nil
}

// site is a server with a station that goes on telling.
type site struct {
	*fake
	url string
	cut atomic.Bool // the link is dead: nothing gets through, nobody is told
}

// startSite runs a server behind a link that can be cut.
func startSite(t *testing.T) *site {
	t.Helper()
	s := &site{fake: newFake(t, hanging())}
	inner, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	outer, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(t.Context())
	var all sync.WaitGroup
	all.Go(func() {
		if err := New(s.fake, Options{Watched: Watched{Readout: kN}, Log: quiet()}).Serve(ctx, inner); err != nil {
			t.Error(err)
		}
	})
	all.Go(func() {
		for {
			c, err := outer.Accept()
			if err != nil {
				return
			}
			if s.cut.Load() {
				context.AfterFunc(ctx, func() { c.Close() })
				continue // open, and silent
			}
			d, err := net.Dial("tcp", inner.Addr().String())
			if err != nil {
				c.Close()
				continue
			}
			context.AfterFunc(ctx, func() { c.Close(); d.Close() })
			all.Go(func() { s.pass(c, d) })
			all.Go(func() { s.pass(d, c) })
		}
	})
	all.Go(func() {
		for beat := time.NewTicker(50 * time.Millisecond); ctx.Err() == nil; <-beat.C {
			s.tell()
		}
	})
	t.Cleanup(func() {
		stop()
		outer.Close()
		all.Wait()
	})
	s.url = "http://" + outer.Addr().String()
	return s
}

func (s *site) pass(from, to net.Conn) {
	defer to.Close()
	b := make([]byte, 64<<10)
	for {
		n, err := from.Read(b)
		for s.cut.Load() {
			time.Sleep(10 * time.Millisecond)
			if _, e := to.Write(nil); e != nil {
				return
			}
		}
		if err != nil {
			return
		}
		if _, err := to.Write(b[:n]); err != nil {
			return
		}
	}
}

// open loads a page.
func (b *browser) open(url string) {
	b.call(b.page, "Page.navigate", map[string]any{"url": url}, nil)
	b.until(`document.readyState === "complete"`)
}

// TestBrowser looks at the pages in a real browser, one after the other, since
// they share it. Pictures are kept with go test -artifacts.
func TestBrowser(t *testing.T) {
	b := startBrowser(t)
	for _, c := range []struct {
		name string
		test func(*testing.T, *browser)
	}{
		{"state", pageShowsState},
		{"stale", pageMarksStale},
		{"link", pageLosesLink},
		{"standstill", pageSeesStandstill},
		{"entries", pageEnters},
		{"contrast", pageContrast},
		{"far", farDisplay},
	} {
		t.Run(c.name, func(t *testing.T) {
			b.t = t
			b.call(b.page, "Page.navigate", map[string]any{"url": "about:blank"}, nil)
			b.mu.Lock()
			b.said = nil
			b.mu.Unlock()
			c.test(t, b)
		})
		b.t = t
	}
}

const visible = `(() => {
	const e = document.getElementById("state"), r = e.getBoundingClientRect();
	return r.top >= 0 && r.bottom <= innerHeight && r.left >= 0 && r.right <= innerWidth && r.height >= 30 && document.elementFromPoint(r.x + r.width / 2, r.y + r.height / 2) === e;
})()`

// The state is there at every size and in every theme, nothing is cut off
// sideways, and the browser finds nothing to complain of.
func pageShowsState(t *testing.T, b *browser) {
	s := startSite(t)
	for _, c := range []struct {
		name          string
		width, height int
		theme         string
	}{{"tablet", 1280, 800, "light"}, {"tablet", 1280, 800, "dark"}, {"upright", 800, 1280, "light"}, {"phone", 390, 844, "light"}, {"phone", 390, 844, "dark"}} {
		b.look(c.width, c.height, c.theme)
		s.show(hanging())
		b.open(s.url + "/live")
		for _, scene := range []struct {
			name  string
			view  func() watch.View
			state string
		}{{"hanging", hanging, "WITHIN PLAN"}, {"tight", tight, "CAUTION"}, {"held", held, "STOP"}, {"blind", blind, "NO READING"}} {
			s.show(scene.view())
			b.until(fmt.Sprintf(`document.getElementById("state").textContent === %q && !document.querySelector("#lost:not([hidden])")`, scene.state))
			if b.eval(visible) != true {
				t.Errorf("%s %s: the state %s is not in view", c.name, c.theme, scene.state)
			}
			if b.eval("document.documentElement.scrollWidth > innerWidth") == true {
				t.Errorf("%s %s: %s is wider than the screen", c.name, c.theme, scene.name)
			}
			b.shoot(fmt.Sprintf("%s-%s-%s", c.name, c.theme, scene.name), false)
			if b.eval(`[...document.querySelectorAll("button")].some((e) => !e.closest("[hidden]") && e.offsetHeight > 0 && (e.offsetHeight < 48 || e.offsetWidth < 48))`) == true {
				t.Errorf("%s: a button is too small for gloves", c.name)
			}
			if scene.name == "held" {
				b.eval("scrollTo(0, 1e6)")
				b.shoot(fmt.Sprintf("%s-%s-%s-foot", c.name, c.theme, scene.name), false)
				b.eval("scrollTo(0, 0)")
			}
		}
		b.clean()
	}
	b.eval(`document.getElementById("theme").click()`)
	b.look(1280, 800, "dark")
	s.show(tight())
	b.until(`document.getElementById("state").textContent === "CAUTION"`)
	if got := b.eval(`getComputedStyle(document.body).color + getComputedStyle(document.documentElement).backgroundColor`); got != "rgb(0, 0, 0)rgb(255, 255, 255)" {
		t.Errorf("the sun theme is %v", got)
	}
	b.shoot("tablet-sun-tight", false)
}

// Nobody can take an old number for a live one, and what is missing is said.
func pageMarksStale(t *testing.T, b *browser) {
	s := startSite(t)
	b.look(1280, 800, "light")
	b.open(s.url + "/live")
	b.until(`document.querySelectorAll(".leg").length === 2`)
	const struck = `(e) => e.closest(".leg, .live").classList.contains("old") && getComputedStyle(e).textDecorationLine === "line-through"`
	if b.eval(`[...document.querySelectorAll(".leg .value, .live b")].some(`+struck+`)`) == true {
		t.Error("a live number is struck through")
	}
	s.show(blind())
	b.until(`document.getElementById("state").textContent === "NO READING"`)
	for _, c := range []struct{ what, expression string }{
		{"the lost leg is struck through", `(` + struck + `)(document.querySelectorAll(".leg .value")[1])`},
		{"the other leg is not", `!(` + struck + `)(document.querySelectorAll(".leg .value")[0])`},
		{"the lost leg says how old it is", `document.querySelectorAll(".leg .note")[1].textContent.includes("LOST, 5.2 s OLD")`},
		{"and what it may bear", `document.querySelectorAll(".leg .note")[1].textContent.includes("25.9–28.8")`},
		{"the total is called an estimate", `document.getElementById("total-note").textContent.includes("ESTIMATE")`},
	} {
		if b.eval(c.expression) != true {
			t.Errorf("not so: %s", c.what)
		}
	}
	b.clean()
}

// Within a second of the last word from the server the page says that the link
// is gone, and shows nothing as live. The page's own clock is asked; a busy
// machine may be late, so the best of three counts.
func pageLosesLink(t *testing.T, b *browser) {
	s := startSite(t)
	b.look(1280, 800, "light")
	best := 1e9
	for range 3 {
		s.show(hanging())
		b.open(s.url + "/live")
		b.until(`document.getElementById("state").textContent === "WITHIN PLAN"`)
		b.eval(`new MutationObserver(() => { if (!document.getElementById("lost").hidden) window.silence ??= performance.now() - heardAt; }).observe(document.getElementById("lost"), { attributes: true, attributeFilter: ["hidden"] })`)
		s.cut.Store(true)
		b.until(`window.silence`)
		best = min(best, b.eval(`window.silence`).(float64))
		b.until(`document.getElementById("state").textContent === "NO READING"`)
		if got := b.eval(`[...document.querySelectorAll(".leg .value, .live b")].every((e) => getComputedStyle(e).textDecorationLine === "line-through")`); got != true {
			t.Error("a number looks live without a link")
		}
		b.shoot("tablet-light-lost", false)
		s.cut.Store(false)
		b.until(`document.getElementById("lost").hidden && document.getElementById("state").textContent === "WITHIN PLAN"`)
	}
	t.Logf("said so %.0f ms after the last word", best)
	if best > 1000 {
		t.Errorf("it took %.0f ms", best)
	}
	// A stop stays a stop, link or not.
	s.show(held())
	b.until(`document.getElementById("state").textContent === "STOP"`)
	s.cut.Store(true)
	b.until(`!document.getElementById("lost").hidden`)
	if b.eval(`document.getElementById("state").textContent`) != "STOP" {
		t.Error("a stop went with the link")
	}
	b.shoot("tablet-light-lost-held", false)
	s.cut.Store(false)
	b.until(`document.getElementById("lost").hidden`)
}

// A watch that stands still behind a server that answers is told too.
func pageSeesStandstill(t *testing.T, b *browser) {
	f := newFake(t, hanging())
	ln, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(t.Context())
	var all sync.WaitGroup
	all.Go(func() { _ = New(f, Options{Watched: Watched{Readout: kN}, Log: quiet()}).Serve(ctx, ln) })
	t.Cleanup(func() { stop(); all.Wait() })
	b.look(390, 844, "light")
	b.open("http://" + ln.Addr().String() + "/live")
	b.until(`document.getElementById("lost-word").textContent === "WATCH STANDS STILL" && document.getElementById("state").textContent === "NO READING"`)
	b.shoot("phone-light-still", false)
	b.clean()
}

// A person's entries arrive as pressed; without a name only a hold does.
func pageEnters(t *testing.T, b *browser) {
	s := startSite(t)
	b.look(800, 1280, "light")
	b.open(s.url + "/live")
	b.until(`document.getElementById("state").textContent === "WITHIN PLAN"`)
	b.eval(`document.querySelector("[data-word=daylight]").click()`)
	b.until(`document.getElementById("told").textContent.includes("Write your name")`)
	b.eval(`document.getElementById("hold").click()`)
	b.until(`document.getElementById("told").textContent.includes("CALL HOLD")`)
	b.eval(`(() => { const w = document.getElementById("who"); w.value = "A. Rigger"; w.dispatchEvent(new Event("input")); })()`)
	b.eval(`document.querySelector("[data-word=daylight]").click()`)
	b.until(`document.getElementById("told").textContent.includes("Daylight")`)
	s.show(held())
	b.until(`document.querySelectorAll("article").length === 2`)
	if b.eval(`[...document.querySelectorAll("article button:last-child")].map((e) => e.disabled).join()`) != "true,false" {
		t.Error("a stop whose cause is there can be cleared, or one whose cause is gone cannot")
	}
	b.eval(`document.querySelectorAll("article button:last-child")[1].click()`)
	b.until(`document.querySelectorAll("article").length === 1`)
	if b.eval(`document.getElementById("zero").hidden`) != true {
		t.Error("zeroing is offered under load")
	}
	s.show(idle())
	b.until(`!document.getElementById("zero").hidden`)
	b.shoot("upright-light-idle", false)
	b.eval(`document.querySelector("[data-tare=hung]").click()`)
	b.until(`document.getElementById("told").textContent === "Zeroed."`)
	s.mu.Lock()
	defer s.mu.Unlock()
	var got []string
	for _, e := range s.entered {
		got = append(got, strings.TrimSpace(fmt.Sprintf("%s %s%s%s by %s", e.Kind, e.Says, e.Alarm, e.Tare, e.Who)))
	}
	want := "word call hold by somebody at a screen; word daylight by A. Rigger; clear shock by A. Rigger; tare hung by A. Rigger"
	if strings.Join(got, "; ") != want {
		t.Errorf("entered: %s", strings.Join(got, "; "))
	}
	b.clean()
}

// Every text stands out from its ground seven to one: the enhanced contrast of
// WCAG 2.2 (success criterion 1.4.6), by its formula.
func pageContrast(t *testing.T, b *browser) {
	const worst = `(() => {
		const rgba = (text) => text.match(/[0-9.]+/g).map(Number);
		const ground = (e) => {
			for (; e; e = e.parentElement) {
				const c = rgba(getComputedStyle(e).backgroundColor);
				if (c.length < 4 || c[3] === 1) return c;
			}
			return [255, 255, 255];
		};
		const light = (c) => {
			const [r, g, b] = c.slice(0, 3).map((v) => v / 255).map((v) => v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4);
			return 0.2126 * r + 0.7152 * g + 0.0722 * b;
		};
		let worst = { ratio: 99 };
		for (const e of document.querySelectorAll("body *")) {
			if (e.offsetHeight === 0 || ![...e.childNodes].some((n) => n.nodeType === 3 && n.data.trim())) continue;
			const [a, z] = [light(rgba(getComputedStyle(e).color)), light(ground(e))].sort((x, y) => y - x);
			const ratio = (a + 0.05) / (z + 0.05);
			if (ratio < worst.ratio) worst = { ratio, text: e.textContent.slice(0, 40) };
		}
		return worst;
	})()`
	s := startSite(t)
	for _, path := range []string{"/live", "/far"} {
		for _, theme := range []string{"light", "dark", "sun"} {
			b.look(1280, 800, theme)
			s.show(hanging())
			b.open(s.url + path)
			if theme == "sun" {
				b.eval(`document.documentElement.dataset.theme = "sun"`)
			}
			judge := func(when string) {
				if got := b.eval(worst).(map[string]any); got["ratio"].(float64) < 7 {
					t.Errorf("%s, %s, %s: %.2f to one for %q", path, theme, when, got["ratio"], got["text"])
				}
			}
			for _, v := range []watch.View{hanging(), tight(), held(), blind(), idle()} {
				s.show(v)
				b.until(fmt.Sprintf(`document.getElementById("state").textContent === %q`, v.State))
				judge(string(v.State))
			}
			s.cut.Store(true)
			b.until(`document.querySelector(".old")`)
			judge("link lost")
			s.cut.Store(false)
		}
	}
}

// On the far display every big digit stands a fifth of the screen high, and
// nothing is cut off.
func farDisplay(t *testing.T, b *browser) {
	s := startSite(t)
	for _, theme := range []string{"light", "dark"} {
		b.look(1920, 1080, theme)
		for _, total := range []float64{44410, 1.2345e6, 123.4567e6} {
			v := hanging()
			v.TotalN, v.StopN = total, 1.2*total
			s.show(v)
			b.open(s.url + "/far")
			b.until(fmt.Sprintf(`document.getElementById("number").textContent === "%.1f"`, total/1000))
			b.until(`document.getElementById("state").textContent === "WITHIN PLAN"`)
			b.shoot(fmt.Sprintf("far-%s-%.0f", theme, total), false)
			// The height of the digits themselves, as the browser draws them.
			const least = `Math.min(...["number", "share", "worst"].map((id) => {
				const e = document.getElementById(id), g = document.createElement("canvas").getContext("2d"), css = getComputedStyle(e);
				g.font = css.fontWeight + " " + css.fontSize + " " + css.fontFamily;
				return g.measureText("0123456789").actualBoundingBoxAscent / innerHeight;
			}))`
			if h := b.eval(least).(float64); h < 0.2 {
				t.Errorf("%.1f kN: digits stand %.3f of the screen high", total/1000, h)
			}
			const fits = `[...document.querySelectorAll("b, span, h1, #age")].every((e) => { const r = e.getBoundingClientRect(); return r.left >= 0 && r.right <= innerWidth && r.top >= -1 && r.bottom <= innerHeight + 1; })`
			if b.eval(fits) != true {
				t.Errorf("%.1f kN: something is cut off", total/1000)
			}
		}
	}
	s.show(blind())
	b.until(`document.getElementById("state").textContent === "NO READING"`)
	b.shoot("far-dark-blind", false)
	s.show(held())
	b.until(`document.getElementById("state").textContent === "STOP"`)
	b.shoot("far-dark-held", false)
	s.cut.Store(true)
	b.until(`document.getElementById("age").textContent.includes("LINK LOST")`)
	b.shoot("far-dark-lost", false)
	s.cut.Store(false)
	if b.eval(`document.querySelectorAll("button, input, a").length`) != 0.0 {
		t.Error("there is something to touch")
	}
	b.clean("ERR_")
}
