package cli

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"net"
	"net/http"
	"os"
	"os/signal"
	"path/filepath"
	"runtime"
	"syscall"
	"time"

	"plumbhook/card"
	"plumbhook/contract"
	"plumbhook/fault"
	"plumbhook/internal/bus"
	"plumbhook/internal/intake"
	"plumbhook/internal/server"
	"plumbhook/internal/station"
	"plumbhook/record"
	"plumbhook/verdict"
	"plumbhook/watch"
)

type serveCmd struct {
	File   string `arg:"" help:"Lift file (YAML)."`
	Data   string `required:"" placeholder:"DIR" help:"Data folder: recording and messages are kept there."`
	Map    string `placeholder:"FILE" help:"Channel map: which gateway sends which channel. Without it readings come over HTTP and MQTT from nobody."`
	Listen string `default:"127.0.0.1:8470" placeholder:"ADDR" help:"Where the live page is served (default ${default})."`
	MQTT   string `default:"127.0.0.1:1883" placeholder:"ADDR" help:"Where gateways publish (default ${default})."`
	NATS   string `placeholder:"URL" help:"A message server outside, instead of our own; credentials from PLUMBHOOK_NATS_CREDENTIALS."`
	Keep   struct {
		Days int     `placeholder:"N" help:"What is recorded goes after so many days, but never of the lift under watch (default: all stays)."`
		GB   float64 `name:"gb" placeholder:"N" help:"The oldest goes when the recording takes more than so many 10^9 bytes, but never of the lift under watch (default: all stays)."`
	} `embed:"" prefix:"keep-"`
	Readout string `default:"kN" placeholder:"UNIT" help:"The one unit of everything the crew reads (default ${default})."`
}

// Help says what it does.
func (*serveCmd) Help() string {
	return `Watches a lift: takes readings of gateways, judges them at once, shows them on the live page and records everything in the data folder. ` +
		`A watch that was stopped in the middle of a lift goes on with it. It listens on this machine alone unless told otherwise; there is no sign-in yet, and whoever reaches it may act.`
}

// Run serves until it is interrupted.
func (c *serveCmd) Run(e *env) error {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	l, err := read(c.File)
	if err != nil {
		return err
	}
	p, err := verdict.Check(l)
	if err != nil {
		return err
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
	w := &watching{keep: record.Keep{Age: time.Duration(c.Keep.Days) * 24 * time.Hour, Bytes: int64(c.Keep.GB * 1e9)}, plan: p, dir: c.Data, channels: m, files: files, listen: c.Listen, mqtt: c.MQTT, readout: c.Readout}
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

// watching is a station with its gateways and its server.
type watching struct {
	plan     *verdict.Plan
	dir      string
	channels *intake.Map
	files    fs.FS
	listen   string
	mqtt     string
	readout  string
	external *bus.External
	keep     record.Keep

	station *station.Station
	site    *station.Site
	server  *server.Server
	ln      net.Listener
	notes   []string
}

// open starts everything but the answering.
func (w *watching) open(ctx context.Context) (err error) {
	out, err := readout(w.readout)
	if err != nil {
		return err
	}
	// A goroutine that waits for the disk holds its processor for a moment; the
	// alarm path must find another.
	if runtime.GOMAXPROCS(0) < 4 {
		runtime.GOMAXPROCS(4)
	}
	o := watch.Options{Show: func(n float64) string { return shownIn(out, n) }}
	st, found, err := station.Open(station.Options{Dir: w.dir, Plan: w.plan, Watch: o, Map: w.channels, Keep: w.keep})
	if err != nil {
		return err
	}
	w.station = st
	defer func() {
		if err != nil {
			w.close()
		}
	}()
	if found.Last > 0 {
		w.notes = append(w.notes, fmt.Sprintf("goes on with the recording in %s, %d entries", w.dir, found.Last))
	}
	if found.Cut > 0 {
		w.notes = append(w.notes, fmt.Sprintf("the recording ended in the middle of an entry: %d bytes were cut", found.Cut))
	}
	for _, h := range found.Missing {
		w.notes = append(w.notes, "the recording lacks something: "+h.Error())
	}
	so := server.Options{Readout: out, Day: card.Day{}, Version: version(), Log: slog.New(slog.NewTextHandler(os.Stderr, &slog.HandlerOptions{Level: slog.LevelWarn}))}
	if w.channels != nil {
		if w.site, err = st.Connect(ctx, station.Gateways{Map: w.channels, Files: w.files, Getenv: os.Getenv, Dir: w.dir, MQTT: w.mqtt, Extern: w.external, Log: so.Log}); err != nil {
			return err
		}
		so.Readings = w.site.Readings()
	}
	w.server = server.New(st, so)
	if w.ln, err = net.Listen("tcp", w.listen); err != nil {
		return other(fault.New(fault.Path, "cannot listen on %s", w.listen).Because(err).Fix("give another address with --listen"))
	}
	return nil
}

// hello says where everything is.
func (w *watching) hello() []string {
	lines := append(w.notes, fmt.Sprintf("watching %q, revision %s", w.plan.Lift.Title, w.plan.Lift.Revision),
		fmt.Sprintf("live page    http://%s/", w.ln.Addr()), fmt.Sprintf("far display  http://%s/far", w.ln.Addr()))
	if w.site != nil {
		lines = append(lines, fmt.Sprintf("MQTT         %s, topics tele/GATEWAY/...", w.site.Address()))
	}
	return append(lines, "recording    "+w.dir, verdict.Cautions)
}

// serve answers until ctx is done.
func (w *watching) serve(ctx context.Context) error {
	if err := w.server.Serve(ctx, w.ln); err != nil && !errors.Is(err, http.ErrServerClosed) {
		return other(fault.New(fault.Internal, "the server stopped").Because(err))
	}
	return nil
}

func (w *watching) close() {
	if w.site != nil {
		w.site.Close()
	}
	if w.station != nil {
		w.station.Close()
	}
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
