package cli

import (
	"context"
	"crypto/rand"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"os/signal"
	"strings"
	"sync"
	"syscall"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"

	"plumbhook/alarm"
	demo "plumbhook/examples"
	"plumbhook/fault"
	"plumbhook/internal/intake"
	"plumbhook/internal/rehearse"
	"plumbhook/lift"
	"plumbhook/logbook"
	"plumbhook/sim"
	"plumbhook/verdict"
)

type demoCmd struct {
	Listen string        `default:"127.0.0.1:8470" placeholder:"ADDR" help:"Where the live page is served (default ${default})."`
	Speed  float64       `default:"1" help:"How many times faster than life."`
	Cause  []string      `default:"as_planned,held_down,swing,channel_lost" help:"What goes wrong in each lift, in turn."`
	For    time.Duration `placeholder:"TIME" help:"Stop after this long, as 2m; goes on until interrupted without it."`
	Join   string        `placeholder:"FILE" help:"Join a hub: the file that its admit wrote for this site."`
	Seed   uint64        `default:"11" help:"Of the virtual lifts."`
}

// Help says what is shown.
func (*demoCmd) Help() string {
	return `Watches virtual lifts of an invented waterworks: a virtual crane publishes its readings over MQTT as a gateway does, and the live page shows what the watch makes of them. ` +
		`The first lift goes as planned, the others do not. Everything is in a folder of its own that is removed at the end.`
}

// The virtual gateway, and where it publishes.
const (
	demoGateway = "virtual"
	demoTopic   = "tele/" + demoGateway + "/cells"
	demoSecret  = "PLUMBHOOK_DEMO_PASSWORD"
)

// Run plays until it is interrupted.
func (c *demoCmd) Run(e *env) error {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	if c.Speed <= 0 || c.Speed > 50 {
		return option("speed", fault.New(fault.Range, "a speed of %g", c.Speed).Fix("give something above 0, up to 50"))
	}
	l, err := lift.Read("filter-shell.yaml", nil, demo.FilterShell)
	if err != nil {
		return err
	}
	p, err := verdict.Check(l)
	if err != nil {
		return err
	}
	dir, err := os.MkdirTemp("", "plumbhook-demo-")
	if err != nil {
		return other(fault.New(fault.Path, "no folder for the demonstration").Because(err))
	}
	defer os.RemoveAll(dir)
	password := rand.Text()
	m, err := demoMap(l)
	if err != nil {
		return err
	}
	w := &watching{plan: p, dir: dir, channels: m, listen: c.Listen, mqtt: "127.0.0.1:0", readout: "kN", signIn: signInNever, getenv: only(demoSecret, password)}
	w.joins.joinFile = c.Join
	// The first lift is worked out before the watch begins, or it would wait for
	// readings.
	first, err := c.rehearsed(l, 0)
	if err != nil {
		return err
	}
	if err := w.open(ctx); err != nil {
		return err
	}
	defer w.close()
	if c.For > 0 {
		var cancel context.CancelFunc
		ctx, cancel = context.WithTimeout(ctx, c.For)
		defer cancel()
	}
	for _, line := range w.hello() {
		fmt.Fprintln(e.out, printable(line))
	}
	played := make(chan error, 1)
	e = &env{&oneAtATime{w: e.out}}
	var told sync.WaitGroup
	told.Go(func() { c.tell(ctx, e, w) })
	go func() { played <- c.play(ctx, e, w, l, first, password) }()
	err = w.serve(ctx)
	stop()
	told.Wait()
	if perr := <-played; err == nil && ctx.Err() == nil {
		err = perr
	}
	return err
}

// oneAtATime keeps the lines of two writers apart.
type oneAtATime struct {
	mu sync.Mutex
	w  io.Writer
}

func (o *oneAtATime) Write(b []byte) (int, error) {
	o.mu.Lock()
	defer o.mu.Unlock()
	return o.w.Write(b)
}

// demoMap is the channel map of the virtual gateway.
func demoMap(l *lift.Lift) (*intake.Map, error) {
	var b strings.Builder
	b.WriteString("channel_map: 1\ngateways:\n  " + demoGateway + ":\n    kind: mqtt\n    password: {env: " + demoSecret + "}\nchannels:\n")
	line := func(name, kind, unit string) {
		fmt.Fprintf(&b, "  %s: {gateway: %s, address: '%s#%s', kind: %s, unit: %s}\n", name, demoGateway, demoTopic, name, kind, unit)
	}
	for i := range l.Legs {
		if cell, _ := l.Legs[i].CellAt(); cell != nil {
			line(cell.Channel, "load cell", "N")
		}
	}
	units := map[string]string{"hook height": "m", "wind speed": "m/s", "crane total": "N", "tilt": "rad from vertical"}
	for _, ch := range l.Channels {
		line(ch.Name, ch.Kind, units[ch.Kind])
	}
	return intake.Read("virtual.yaml", nil, []byte(b.String()))
}

// rehearsed is the k-th lift.
func (c *demoCmd) rehearsed(l *lift.Lift, k int) (*rehearse.Run, error) {
	return rehearse.New(l, c.Seed+uint64(k), c.Cause[k%len(c.Cause)], rehearse.Options{Rate: 10, Clean: true})
}

// virtualGateway connects to our own message server.
func virtualGateway(address, password string) (mqtt.Client, error) {
	o := mqtt.NewClientOptions().AddBroker("tcp://" + address).SetClientID(demoGateway).SetUsername(demoGateway).SetPassword(password).SetOrderMatters(true)
	client := mqtt.NewClient(o)
	if t := client.Connect(); !t.WaitTimeout(10*time.Second) || t.Error() != nil {
		return nil, other(fault.New(fault.Internal, "the virtual gateway cannot connect").Because(t.Error()))
	}
	return client, nil
}

// only is an environment with one name in it.
func only(name, value string) func(string) string {
	return func(n string) string {
		if n == name {
			return value
		}
		return ""
	}
}

// play publishes lift after lift.
func (c *demoCmd) play(ctx context.Context, e *env, w *watching, l *lift.Lift, r *rehearse.Run, password string) error {
	client, err := virtualGateway(w.site.Address(), password)
	if err != nil {
		return err
	}
	defer client.Disconnect(100)
	for k := 0; ctx.Err() == nil; k++ {
		fmt.Fprintf(e.out, "\nlift %d: %s; it truly weighs %.2f kN\n", k+1, orNothing(r.Detail), r.Truth.WeightN/1000)
		// The next one is worked out while this one plays, or the cells would
		// fall silent in between.
		type lift struct {
			run *rehearse.Run
			err error
		}
		ahead := make(chan lift, 1)
		go func() {
			run, err := c.rehearsed(l, k+1)
			ahead <- lift{run, err}
		}()
		if err := publish(ctx, client, r.Samples, c.Speed); err != nil {
			return err
		}
		c.clear(ctx, w)
		next := <-ahead
		if next.err != nil {
			return next.err
		}
		r = next.run
	}
	return nil
}

// publish sends the samples as they fall due, those of a tenth of a second in
// one message.
func publish(ctx context.Context, client mqtt.Client, samples []sim.Sample, speed float64) error {
	type sample struct {
		T float64 `json:"t"`
		V float64 `json:"v"`
	}
	start := time.Now()
	for i := 0; i < len(samples); {
		end := samples[i].Arrived + 0.1*speed
		body := map[string]sample{}
		k := i
		for ; k < len(samples) && samples[k].Arrived < end; k++ {
			s := &samples[k]
			if _, twice := body[s.Channel]; twice {
				break
			}
			body[s.Channel] = sample{float64(start.UnixNano())/1e9 + s.Measured/speed, s.Value}
		}
		select {
		case <-ctx.Done():
			return nil
		case <-time.After(time.Until(start.Add(time.Duration(samples[k-1].Arrived / speed * float64(time.Second))))):
		}
		text, err := json.Marshal(body)
		if err != nil {
			return err
		}
		client.Publish(demoTopic, 1, false, text)
		i = k
	}
	return nil
}

// clear ends the stops of a lift that is over, in the script's name.
func (c *demoCmd) clear(ctx context.Context, w *watching) {
	for _, a := range w.station.View().Alarms {
		if a.Severity == alarm.Stop {
			_ = w.station.Enter(ctx, logbook.Entry{Kind: logbook.Clear, Who: "the demonstration's script", Alarm: a.Key.String()})
		}
	}
}

// tell prints what the watch says.
func (c *demoCmd) tell(ctx context.Context, e *env, w *watching) {
	for u := range w.station.Watch(ctx) {
		for _, ev := range u.Events {
			if ev.Change == alarm.Raised || ev.Change == alarm.Cleared {
				fmt.Fprintln(e.out, printable(fmt.Sprintf("  %-7s %-8s %s", strings.ToUpper(string(ev.Severity)), ev.Change, ev.Text)))
			}
		}
	}
}
