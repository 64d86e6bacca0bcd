// Package drill plays a written course of readings to the watch and holds what
// it says against what was expected: the alarms' own test suite, and a way for
// a crew to try its limits before the lift.
//
// A drill is a text, a line at a time; # begins a comment. A line begins with
// a time, and lines need no order:
//
//	rate 10 /s                        every channel reads so often
//	0 s   W 0 kN                      the channel reads this then; between two
//	8 s   W 21.6 kN                   such lines it goes straight from one to the other
//	20 s  W jumps 30 kN               it reads this from then on
//	21 s  W ripples 0.4 kN 1.2 Hz     and goes up and down about that by so much
//	25 s  W silent                    nothing comes of it any more
//	27 s  W back                      it comes again
//	30 s  A. Rigger tares hung        or attached; insists at the end overrides a refusal
//	31 s  A. Rigger says daylight     what no cell can tell
//	31 s  A. Rigger says step raise   the lift stands as after this step of its plan
//	32 s  A. Rigger clears leg_stop W
//	33 s  A. Rigger sees leg_stop W
//	34 s  expect STOP                 the state of the screen: STOP, CAUTION,
//	                                  NO READING, WITHIN PLAN
//	34 s  expect leg_stop W           an alarm of this kind, and place when one is named
//	34 s  expect no leg_stop
//	34 s  expect hook_stop hooks.east
//	34 s  expect phase suspended
//
// Every force has its unit.
package drill

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"plumbhook/alarm"
	"plumbhook/fault"
	"plumbhook/logbook"
	"plumbhook/quantity"
	"plumbhook/reading"
	"plumbhook/verdict"
	"plumbhook/watch"
)

// Drill is a text read.
type Drill struct {
	rate     float64
	channels []channel
	acts     []act
	last     float64
}

type channel struct {
	name   string
	points []point
	ripple []ripple
	silent []silence
}

type point struct {
	t, v  float64
	jumps bool
}

type ripple struct{ t, amplitude, hz float64 }

type silence struct {
	t  float64
	on bool
}

type act struct {
	t      float64
	pos    fault.Pos
	entry  logbook.Entry
	expect string // what of; empty: the entry
	not    bool
	kind   alarm.Kind
	where  string
	value  string
}

// longest is the most a drill may last, s: a working day.
const longest = 86400

// Read reads a drill; name is for messages. All mistakes come at once.
func Read(name, text string) (*Drill, error) {
	d := &Drill{rate: 10}
	var wrong fault.List
	for i, line := range strings.Split(text, "\n") {
		line, _, _ = strings.Cut(line, "#")
		words := strings.Fields(line)
		if len(words) == 0 {
			continue
		}
		if err := d.line(words, fault.Pos{File: name, Line: i + 1, Column: 1 + len(line) - len(strings.TrimLeft(line, " \t"))}); err != nil {
			wrong = append(wrong, err)
		}
	}
	if len(wrong) == 0 && len(d.channels) == 0 {
		wrong = append(wrong, fault.New(fault.Missing, "the drill has no readings").At(fault.Pos{File: name}).Fix("give a line such as: 0 s  W 0 kN"))
	}
	for i := range d.channels {
		slices.SortStableFunc(d.channels[i].points, func(a, b point) int { return cmp.Compare(a.t, b.t) })
	}
	slices.SortStableFunc(d.acts, func(a, b act) int { return cmp.Compare(a.t, b.t) })
	return d, wrong.Err()
}

func (d *Drill) line(w []string, pos fault.Pos) *fault.Fault {
	bad := func(what string, do string) *fault.Fault {
		return fault.New(fault.Syntax, "%s", what).At(pos).Fix("%s", do)
	}
	if w[0] == "rate" {
		var x float64
		if len(w) != 3 || w[2] != "/s" || scan(w[1], &x) != nil || x <= 0 || x > 200 {
			return bad("a rate that is none", "write it as: rate 10 /s, up to 200")
		}
		d.rate = x
		return nil
	}
	var t float64
	if len(w) < 4 || w[1] != "s" || scan(w[0], &t) != nil || t < 0 || t > longest {
		return bad("a line that does not begin with a time", fmt.Sprintf("write seconds from 0 to %d first: 12.5 s ...", longest))
	}
	d.last = max(d.last, t)
	rest := w[2:]
	if rest[0] == "expect" {
		return d.expectation(t, rest[1:], pos)
	}
	if k := slices.IndexFunc(rest, func(s string) bool { return s == "tares" || s == "says" || s == "clears" || s == "sees" }); k > 0 {
		e := logbook.Entry{Who: strings.Join(rest[:k], " ")}
		obj := rest[k+1:]
		if len(obj) == 0 {
			return bad("a person does something, and what is missing", "write for example: 30 s  A. Rigger says daylight")
		}
		switch rest[k] {
		case "tares":
			e.Kind, e.Tare, e.Insists = logbook.Tare, logbook.TareKind(obj[0]), len(obj) > 1 && obj[1] == "insists"
			if e.Tare != logbook.Hung && e.Tare != logbook.Attached {
				return bad("a tare of no kind", "say hung or attached")
			}
		case "says":
			e.Kind, e.Says = logbook.Word, strings.Join(obj, " ")
			if obj[0] == logbook.Moved {
				e.Says, e.Text = logbook.Moved, strings.Join(obj[1:], " ")
			}
		case "clears":
			e.Kind, e.Alarm = logbook.Clear, strings.Join(obj, " ")
		case "sees":
			e.Kind, e.Alarm = logbook.Ack, strings.Join(obj, " ")
		}
		d.acts = append(d.acts, act{t: t, pos: pos, entry: e})
		return nil
	}
	c := d.channel(rest[0])
	switch v := rest[1:]; v[0] {
	case "silent", "back":
		c.silent = append(c.silent, silence{t, v[0] == "silent"})
	case "ripples":
		var hz float64
		if len(v) != 5 || v[4] != "Hz" || scan(v[3], &hz) != nil || hz < 0 {
			return bad("a ripple that is none", "write it as: 21 s  W ripples 0.4 kN 1.2 Hz")
		}
		n, f := force(v[1:3], pos)
		if f != nil {
			return f
		}
		c.ripple = append(c.ripple, ripple{t, n, hz})
	case "jumps":
		n, f := force(v[1:], pos)
		if f != nil {
			return f
		}
		c.points = append(c.points, point{t, n, true})
	default:
		n, f := force(v, pos)
		if f != nil {
			return f
		}
		c.points = append(c.points, point{t, n, false})
	}
	return nil
}

func (d *Drill) expectation(t float64, w []string, pos fault.Pos) *fault.Fault {
	a := act{t: t, pos: pos}
	if len(w) > 1 && w[0] == "no" && w[1] != "READING" {
		a.not, w = true, w[1:]
	}
	if len(w) == 0 {
		return fault.New(fault.Syntax, "nothing is expected").At(pos).Fix("write a state, a kind of alarm, or phase and its name")
	}
	switch text := strings.Join(w, " "); {
	case slices.Contains([]string{string(watch.StopNow), string(watch.Attention), string(watch.WithinPlan), string(watch.NoReading)}, text):
		a.expect, a.value = "state", text
	case w[0] == "phase" && len(w) == 2:
		a.expect, a.value = "phase", w[1]
	case alarm.Of(alarm.Kind(w[0])) != nil:
		a.expect, a.kind, a.where = "alarm", alarm.Kind(w[0]), strings.Join(w[1:], " ")
	default:
		var known []string
		for i := range alarm.Registry {
			known = append(known, string(alarm.Registry[i].Kind))
		}
		return fault.New(fault.Reference, "%q is no state and no kind of alarm", text).At(pos).Fix("kinds are %s", strings.Join(known, ", "))
	}
	d.acts = append(d.acts, a)
	return nil
}

func (d *Drill) channel(name string) *channel {
	for i := range d.channels {
		if d.channels[i].name == name {
			return &d.channels[i]
		}
	}
	d.channels = append(d.channels, channel{name: name})
	return &d.channels[len(d.channels)-1]
}

func scan(s string, x *float64) error {
	n, err := fmt.Sscanf(s+"\x00", "%g\x00", x)
	if err == nil && (n != 1 || math.IsNaN(*x) || math.IsInf(*x, 0)) {
		err = fmt.Errorf("no number")
	}
	return err
}

func force(w []string, pos fault.Pos) (float64, *fault.Fault) {
	n, err := quantity.ParseForce(strings.Join(w, " "))
	if err != nil {
		f := fault.Of(err)[0]
		return 0, f.At(pos)
	}
	return float64(n), nil
}

// at is what a channel reads.
func (c *channel) at(t float64) (v float64, ok bool) {
	for _, s := range c.silent {
		if s.t <= t {
			ok = s.on
		}
	}
	if ok || len(c.points) == 0 || t < c.points[0].t {
		return 0, false
	}
	k := 0
	for k+1 < len(c.points) && c.points[k+1].t <= t {
		k++
	}
	v = c.points[k].v
	if k+1 < len(c.points) && !c.points[k+1].jumps {
		next := c.points[k+1]
		v += (next.v - v) * (t - c.points[k].t) / (next.t - c.points[k].t)
	}
	amplitude, hz := 0.0, 0.0
	for _, r := range c.ripple {
		if r.t <= t {
			amplitude, hz = r.amplitude, r.hz
		}
	}
	return v + amplitude*math.Sin(2*math.Pi*hz*t), true
}

// Miss is an expectation that was not met.
type Miss struct {
	Pos  fault.Pos
	TS   float64
	Want string
	Got  string
}

// Run plays the drill to a watch on a plan. Events are what it said.
func (d *Drill) Run(p *verdict.Plan, o watch.Options) (missed []Miss, events []alarm.Event, err error) {
	e, err := watch.New(p, o)
	if err != nil {
		return nil, nil, err
	}
	var n uint64
	apply := func(en logbook.Entry) {
		n++
		en.N = n
		events = append(events, slices.Clone(e.Apply(&en))...)
	}
	acts := d.acts
	step := 1 / d.rate
	tick := 0.0
	for i := 0; ; i++ {
		t := float64(i) * step
		for ; tick <= t; tick += watch.TickS {
			apply(logbook.Entry{At: reading.Seconds(tick), Kind: logbook.Tick})
		}
		f := reading.Frame{Source: "drill", Arrived: reading.Seconds(t)}
		for k := range d.channels {
			c := &d.channels[k]
			if v, ok := c.at(t); ok {
				f.Readings = append(f.Readings, reading.Reading{Channel: c.name, At: f.Arrived, Marks: reading.Timed, Value: v})
			}
		}
		if len(f.Readings) > 0 {
			apply(logbook.Entry{At: f.Arrived, Kind: logbook.Frame, Frame: &f})
		}
		for len(acts) > 0 && acts[0].t <= t {
			a := acts[0]
			acts = acts[1:]
			if a.expect == "" {
				a.entry.At = f.Arrived
				apply(a.entry)
				continue
			}
			if m, ok := a.check(e); !ok {
				missed = append(missed, m)
			}
		}
		if t > d.last {
			return missed, events, nil
		}
	}
}

func (a *act) check(e *watch.Engine) (Miss, bool) {
	v := e.View()
	m := Miss{Pos: a.pos, TS: a.t}
	var met bool
	switch a.expect {
	case "state":
		m.Want, m.Got, met = a.value, string(v.State), a.value == string(v.State)
	case "phase":
		m.Want, m.Got, met = "phase "+a.value, "phase "+string(v.Phase), a.value == string(v.Phase)
	case "alarm":
		m.Want = strings.TrimSpace(string(a.kind) + " " + a.where)
		var standing []string
		for _, x := range v.Alarms {
			standing = append(standing, x.Key.String())
			met = met || x.Kind == a.kind && (a.where == "" || a.where == x.Where)
		}
		m.Got = cmp.Or(strings.Join(standing, ", "), "no alarm")
	}
	if a.not {
		m.Want, met = "no "+m.Want, !met
	}
	return m, met
}
