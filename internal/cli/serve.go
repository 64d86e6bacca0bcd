package cli

import (
	"context"
	"crypto/rand"
	"crypto/tls"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"log/slog"
	"net"
	"net/http"
	"os"
	"os/signal"
	"path/filepath"
	"runtime"
	"sync"
	"syscall"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"

	"plumbhook/card"
	"plumbhook/contract"
	"plumbhook/fault"
	"plumbhook/internal/audit"
	"plumbhook/internal/authority"
	"plumbhook/internal/bus"
	"plumbhook/internal/intake"
	"plumbhook/internal/server"
	"plumbhook/internal/station"
	"plumbhook/internal/store"
	"plumbhook/record"
	"plumbhook/verdict"
	"plumbhook/watch"
	"plumbhook/web"
)

type serveCmd struct {
	File   string `arg:"" optional:"" help:"Lift file (YAML) to watch; the app alone without it."`
	Data   string `required:"" placeholder:"DIR" help:"Data folder: lifts, gear, recordings and messages are kept there."`
	Map    string `placeholder:"FILE" help:"Channel map: which gateway sends which channel. Without it readings come over HTTP and MQTT from nobody."`
	Listen string `default:"127.0.0.1:8470" placeholder:"ADDR" help:"Where the app is served (default ${default})."`
	MQTT   string `default:"127.0.0.1:1883" placeholder:"ADDR" help:"Where gateways publish (default ${default})."`
	NATS   string `placeholder:"URL" help:"A message server outside, instead of our own; credentials from PLUMBHOOK_NATS_CREDENTIALS."`
	Hub    string `placeholder:"FILE" help:"Be a hub for other sites, or a node of one: its file, the same on every node."`
	Node   string `placeholder:"NAME" help:"Which node of the hub this machine is; needed where there are several."`
	Join   string `placeholder:"FILE" help:"Join a hub: the file that its admit wrote for this site."`
	Keep   struct {
		Days int     `placeholder:"N" help:"What is recorded goes after so many days, but never of the lift under watch (default: all stays)."`
		GB   float64 `name:"gb" placeholder:"N" help:"The oldest goes when the recording takes more than so many 10^9 bytes, but never of the lift under watch (default: all stays)."`
	} `embed:"" prefix:"keep-"`
	Readout   string   `default:"kN" placeholder:"UNIT" help:"The one unit of everything the crew reads of FILE (default ${default}); lifts of the app have their own."`
	SignIn    string   `enum:"auto,always,never" default:"auto" help:"Who has to sign in: always everybody; never anybody, on this machine alone; auto: everybody, unless FILE is watched on this machine alone and nobody is registered."`
	Metrics   string   `placeholder:"ADDR" help:"Where Prometheus finds figures, at /metrics: an address of this machine alone, as 127.0.0.1:9470 (default: nowhere)."`
	Log       string   `enum:"text,json" default:"text" help:"Form of the log on standard error: text or json, a line each (default ${default})."`
	LogLevel  string   `name:"log-level" enum:"debug,info,warn,error" default:"warn" help:"The least that is logged: debug (each request), info, warn, error (default ${default})."`
	PlainHTTP bool     `name:"plain-http" help:"Serve other machines without TLS: passwords and readings can be read and altered on the way."`
	PlainMQTT bool     `name:"plain-mqtt" help:"Let gateways on other machines in without TLS: whoever is on that network can read their passwords, and forge what they send."`
	Name      []string `placeholder:"HOST" help:"A further name that this machine is reached by. Give it again for each."`
}

// Help says what it does.
func (*serveCmd) Help() string {
	return `Serves the app: plan lifts, keep the gear register, watch. With a lift file it watches that lift from the start: takes readings of gateways, judges them at once, shows them on the live page and records everything in the data folder. ` +
		`A watch that was stopped in the middle of a lift goes on with it. While nobody is registered it prints a code that makes the first admin. ` +
		`It listens on this machine alone unless told otherwise; for other machines it needs the certificates that plumbhook certify makes.`
}

// Run serves until it is interrupted.
func (c *serveCmd) Run(e *env) error {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	var p *verdict.Plan
	if c.File != "" {
		gear := registered{}
		if store.Exists(c.Data) { // a load cell may be used on somebody's word, with a wider band
			gear.Data = c.Data
		}
		l, known, err := gear.read(c.File)
		if err != nil {
			return err
		}
		if p, err = verdict.CheckWith(l, known); err != nil {
			return err
		}
	}
	var m *intake.Map
	var files fs.FS
	if c.Map != "" {
		data, err := os.ReadFile(c.Map)
		if err != nil {
			return fault.New(fault.Path, "the channel map cannot be read").In(c.Map).Because(err)
		}
		root, err := os.OpenRoot(filepath.Dir(c.Map))
		if err != nil {
			return fault.New(fault.Path, "the folder of the channel map cannot be read").In(c.Map).Because(err)
		}
		defer root.Close()
		files = root.FS()
		if m, err = intake.Read(c.Map, files, data); err != nil {
			return err
		}
	}
	if c.Keep.Days < 0 || c.Keep.GB < 0 {
		return fault.New(fault.Range, "a recording cannot be kept for less than nothing").Fix("give --keep-days and --keep-gb above zero, or leave them out")
	}
	w := &watching{keep: record.Keep{Age: time.Duration(c.Keep.Days) * 24 * time.Hour, Bytes: int64(c.Keep.GB * 1e9)}, plan: p, dir: c.Data, channels: m, files: files, listen: c.Listen, mqtt: c.MQTT, readout: c.Readout, signIn: c.SignIn, plain: c.PlainHTTP, plainMQTT: c.PlainMQTT, names: c.Name, getenv: os.Getenv, metrics: c.Metrics, log: logger(os.Stderr, c.Log, c.LogLevel)}
	w.joins.hubFile, w.joins.node, w.joins.joinFile = c.Hub, c.Node, c.Join
	if c.NATS != "" {
		w.external = &bus.External{URL: c.NATS, Credentials: os.Getenv("PLUMBHOOK_NATS_CREDENTIALS")}
	}
	if err := w.open(ctx); err != nil {
		return err
	}
	defer w.close()
	for _, line := range w.hello() {
		fmt.Fprintln(e.out, printable(line))
	}
	return w.serve(ctx)
}

// The ways to sign in.
const (
	signInAlways = "always"
	signInNever  = "never"
)

// watching is the app at work: the store, the server, and the lift on the watch
// where there is one.
type watching struct {
	sealing   sync.Mutex // held while a record is sealed
	plan      *verdict.Plan
	dir       string
	channels  *intake.Map
	files     fs.FS
	listen    string
	mqtt      string
	readout   string
	external  *bus.External
	signIn    string
	plain     bool     // plain HTTP for other machines too
	plainMQTT bool     // gateways on other machines without TLS
	names     []string // that this machine is reached by
	getenv    func(string) string
	keep      record.Keep

	joins    joins
	station  *station.Station
	site     *station.Site
	server   *server.Server
	store    *store.Store
	metrics  string // address; empty: nowhere
	figures  *http.Server
	audit    *audit.Log
	lock     io.Closer // the data folder is served by nobody else
	ln       net.Listener
	scheme   string
	log      *slog.Logger
	notes    []string
	rehearse context.CancelFunc // ends the virtual lift; nil: none is played
	played   sync.WaitGroup
}

// open starts everything but the answering.
func (w *watching) open(ctx context.Context) (err error) {
	out, err := readout(w.readout)
	if err != nil {
		return err
	}
	defer func() {
		if err != nil {
			w.close()
		}
	}()
	// A goroutine that waits for the disk holds its processor for a moment; the
	// alarm path must find another.
	if runtime.GOMAXPROCS(0) < 4 {
		runtime.GOMAXPROCS(4)
	}
	if w.log == nil {
		w.log = logger(os.Stderr, "text", "warn")
	}
	if err := os.MkdirAll(w.dir, 0o750); err != nil {
		return fault.New(fault.Path, "the data folder cannot be made").In(w.dir).Because(err).Fix("look at your rights")
	}
	if w.lock, err = serving(w.dir); err != nil {
		return err
	}
	if w.store, err = store.Open(ctx, w.dir, true); err != nil {
		return err
	}
	if w.audit, err = audit.Open(filepath.Join(w.dir, auditFile)); err != nil {
		return err
	}
	o := server.Options{Audit: w.note, Version: version(), Log: w.log, Hosts: w.names, Gear: w.store, Lifts: w.store, Crew: w.store, Watcher: w}
	o.App, _ = web.App()
	if err := w.joins.open(ctx, w, &o); err != nil {
		return err
	}
	if err := w.hear(&o); err != nil {
		return err
	}
	persons, err := w.store.Persons(ctx)
	if err != nil {
		return err
	}
	here := loopback(w.ln.Addr())
	switch {
	case w.signIn == signInNever && !here:
		return option("sign-in", fault.New(fault.Unsupported, "without sign-in only this machine can be served").Fix("listen on 127.0.0.1, or have people sign in"))
	case w.signIn == signInNever, w.signIn != signInAlways && w.plan != nil && here && len(persons) == 0:
		o.Open = true
	case len(persons) == 0:
		o.Code = rand.Text()[:12]
	}
	if w.plan == nil {
		w.server = server.New(nil, o)
		if err := w.measure(); err != nil {
			return err
		}
		w.greet(&o)
		switch title, err := w.server.Resume(ctx); {
		case err != nil && title == "":
			return err
		case err != nil: // the app is needed all the more
			w.notes = append(w.notes, fmt.Sprintf("WARNING: %q is NOT WATCHED: its watch cannot go on: %v", title, err))
		case title != "":
			w.notes = append(w.notes, fmt.Sprintf("goes on with the watch of %q", title))
		}
		return nil
	}
	if o.Watched, err = w.up(ctx, w.dir, w.plan, out); err != nil {
		return err
	}
	w.server = server.New(w.station, o)
	if err := w.measure(); err != nil {
		return err
	}
	w.greet(&o)
	return nil
}

// up puts a plan on the watch.
func (w *watching) up(ctx context.Context, dir string, p *verdict.Plan, out contract.Readout) (with server.Watched, err error) {
	o := watch.Options{Show: func(n float64) string { return shownIn(out, n) }}
	st, found, err := station.Open(station.Options{Dir: dir, Plan: p, Watch: o, Map: w.channels, Keep: w.keep})
	if err != nil {
		return with, err
	}
	w.station = st
	id := filepath.Base(dir)
	if w.plan != nil {
		id = ownWatch
	}
	w.joins.begin(id, p, st)
	if found.Last > 0 {
		w.notes = append(w.notes, fmt.Sprintf("goes on with the recording in %s, %d entries", dir, found.Last))
	}
	if found.Cut > 0 {
		w.notes = append(w.notes, fmt.Sprintf("the recording ended in the middle of an entry: %d bytes were cut", found.Cut))
	}
	for _, h := range found.Missing {
		w.notes = append(w.notes, "the recording lacks something: "+h.Error())
	}
	with = server.Watched{Readout: out, Day: card.Day{}}
	if w.channels != nil {
		secret, err := w.gatewayTLS()
		if err != nil {
			w.down()
			return with, err
		}
		if w.site, err = st.Connect(ctx, station.Gateways{TLS: secret, Map: w.channels, Files: w.files, Getenv: w.getenv, Dir: dir, MQTT: w.mqtt, Extern: w.external, Log: w.log}); err != nil {
			w.down()
			return with, err
		}
		with.Readings = w.site.Readings()
	}
	return with, nil
}

// down ends the watch.
func (w *watching) down() {
	if w.rehearse != nil {
		w.rehearse()
		w.played.Wait()
		w.rehearse = nil
	}
	if w.site != nil {
		w.site.Close()
		w.site = nil
	}
	if w.station != nil {
		w.station.Close()
		w.station = nil
	}
	w.joins.end()
}

// hear starts listening: with TLS for other machines.
func (w *watching) hear(o *server.Options) (err error) {
	if w.ln, err = net.Listen("tcp", w.listen); err != nil {
		return other(fault.New(fault.Path, "cannot listen on %s", w.listen).Because(err).Fix("give another address with --listen"))
	}
	w.scheme = "http"
	if loopback(w.ln.Addr()) || w.plain {
		return nil
	}
	a, err := authority.Load(w.dir)
	if err != nil {
		return err
	}
	w.scheme, o.TLS, o.Authority = "https", true, a.PEM()
	o.Hosts = append(o.Hosts, a.Names()...)
	w.ln = tls.NewListener(w.ln, secret(a, "http/1.1"))
	return nil
}

// secret is TLS with this machine's certificate.
func secret(a *authority.Authority, speaks ...string) *tls.Config {
	return &tls.Config{GetCertificate: a.Certificate, MinVersion: tls.VersionTLS12, NextProtos: speaks}
}

// gatewayTLS is for gateways on other machines: who can forge what a gateway
// sends can make a load look light.
func (w *watching) gatewayTLS() (*tls.Config, error) {
	host, _, err := net.SplitHostPort(w.mqtt)
	if ip := net.ParseIP(host); w.mqtt == "" || err == nil && (host == "localhost" || ip != nil && ip.IsLoopback()) {
		return nil, nil
	}
	if w.plainMQTT {
		w.notes = append(w.notes, "WARNING: gateways on other machines are let in without TLS; their passwords can be read, and what they send can be forged")
		return nil, nil
	}
	a, err := authority.Load(w.dir)
	if err != nil {
		return nil, err
	}
	return secret(a), nil
}

func loopback(a net.Addr) bool {
	t, ok := a.(*net.TCPAddr)
	return ok && t.IP.IsLoopback()
}

// greet says how people get in.
func (w *watching) greet(o *server.Options) {
	switch {
	case o.Open:
		w.notes = append(w.notes, "nobody has to sign in: whoever reaches this address may act, and names are claims")
	case o.Code != "":
		w.notes = append(w.notes, "nobody is registered yet; this code makes the first admin: "+o.Code)
	}
	if w.plain && !loopback(w.ln.Addr()) {
		w.notes = append(w.notes, "WARNING: other machines are served without TLS; passwords and readings can be read and altered on the way")
	}
}

// hello says where everything is.
func (w *watching) hello() []string {
	at := fmt.Sprintf("%s://%s", w.scheme, w.ln.Addr())
	lines := append(w.notes, "app          "+at+"/")
	if w.plan != nil {
		lines = append(lines, fmt.Sprintf("watching %q, revision %s", w.plan.Lift.Title, w.plan.Lift.Revision))
	}
	lines = append(lines, "live page    "+at+"/live", "far display  "+at+"/far")
	if w.scheme == "https" {
		lines = append(lines, "certificate  "+at+"/certificate, for a tablet")
	}
	if w.site != nil {
		lines = append(lines, fmt.Sprintf("MQTT         %s, topics tele/GATEWAY/...", w.site.Address()))
	}
	lines = append(lines, w.joins.hello()...)
	return append(lines, "data         "+w.dir, verdict.Cautions)
}

// serve answers until ctx is done.
func (w *watching) serve(ctx context.Context) error {
	if err := w.server.Serve(ctx, w.ln); err != nil && !errors.Is(err, http.ErrServerClosed) {
		return other(fault.New(fault.Internal, "the server stopped").Because(err))
	}
	return nil
}

func (w *watching) close() {
	w.down()
	w.joins.close()
	if w.ln != nil {
		w.ln.Close()
	}
	if w.figures != nil {
		w.figures.Close()
	}
	if w.audit != nil {
		w.audit.Close()
	}
	if w.store != nil {
		w.store.Close()
	}
	if w.lock != nil {
		w.lock.Close()
	}
}

// logger writes what happens as lines of text or JSON.
func logger(to io.Writer, form, level string) *slog.Logger {
	var least slog.Level
	_ = least.UnmarshalText([]byte(level)) // one of those that the option takes
	o := &slog.HandlerOptions{Level: least}
	if form == "json" {
		return slog.New(slog.NewJSONHandler(to, o))
	}
	return slog.New(slog.NewTextHandler(to, o))
}

// auditFile has who did what over the API.
const auditFile = "audit.jsonl"

func (w *watching) note(d server.Deed) error {
	return w.audit.Note(audit.Entry{At: d.At, Who: d.Who, From: d.From, Did: d.Did, Status: d.Status})
}

// measure serves figures for Prometheus to this machine.
func (w *watching) measure() error {
	if w.metrics == "" {
		return nil
	}
	ln, err := net.Listen("tcp", w.metrics)
	if err != nil {
		return other(fault.New(fault.Path, "cannot listen on %s", w.metrics).Because(err).Fix("give another address with --metrics"))
	}
	if !loopback(ln.Addr()) {
		ln.Close()
		return option("metrics", fault.New(fault.Unsupported, "figures are told without sign-in, and to this machine alone").Fix("listen on 127.0.0.1, and have a collector on this machine pass them on"))
	}
	r := prometheus.NewRegistry()
	r.MustRegister(collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}), w.server)
	mux := http.NewServeMux()
	mux.Handle("GET /metrics", promhttp.HandlerFor(r, promhttp.HandlerOpts{}))
	w.figures = &http.Server{Handler: mux, ReadTimeout: 10 * time.Second, WriteTimeout: 10 * time.Second, MaxHeaderBytes: 16 << 10}
	w.notes = append(w.notes, fmt.Sprintf("figures      http://%s/metrics", ln.Addr()))
	go w.figures.Serve(ln)
	return nil
}

// shownIn writes a force in the unit of the lift.
func shownIn(out contract.Readout, n float64) string {
	v := n / out.NewtonsPer
	switch {
	case v >= 1000 || v <= -1000:
		return fmt.Sprintf("%.0f %s", v, out.Unit)
	case v >= 100 || v <= -100:
		return fmt.Sprintf("%.1f %s", v, out.Unit)
	}
	return fmt.Sprintf("%.2f %s", v, out.Unit)
}
