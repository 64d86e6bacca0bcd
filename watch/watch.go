// Package watch holds one lift under guard: readings in, the truth out.
//
// An Engine is a function of its logbook. Each entry is applied in order; what
// changed comes back as alarm events, and View tells how things stand. It has
// no clock and does no I/O: time passes only through entries, so that going
// through a recording again gives the same events.
//
// Readings go two ways. Each one is held against its limits at once, by
// itself: that is the alarm path, and nothing slow stands in it. Then, with all
// readings of the frame judged, the cells are brought together into rows, one
// value of every cell, from which phases, steady stretches, swing and shocks are
// read and which package infer explains.
package watch

import (
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"time"

	"plumbhook/alarm"
	"plumbhook/card"
	"plumbhook/fault"
	"plumbhook/infer"
	"plumbhook/logbook"
	"plumbhook/metrology"
	"plumbhook/reading"
	"plumbhook/verdict"
)

// tareS is how long the cells are looked at for a tare, s.
const tareS = 2.5

// Options are what a site may set.
type Options struct {
	Day card.Day
	// Curves turn the signal of a channel into force, N; a channel without one
	// sends force.
	Curves map[string]func(signal float64) float64
	// Show writes a force for the crew, in the one unit of the lift; nil
	// writes kN.
	Show func(n float64) string
	// Later has explanations worked out by whoever asks for Question, instead
	// of in Apply. A logbook that has answers in it is gone through with Later.
	Later bool
	// Early hears, while Apply goes on, what the readings of a frame raised by
	// themselves, before the course of the lift is followed. Apply gives the
	// same events again, first among its own.
	Early func([]alarm.Event)
}

// Engine watches one lift.
type Engine struct {
	plan  *verdict.Plan
	state *verdict.State
	card  *card.Card
	model *infer.Model // totals
	rules limits
	show  func(float64) string
	curve map[string]func(float64) float64
	panel *alarm.Panel

	stages []stage // as first rigged, then each step
	stage  int     // that readings are held against

	early   func([]alarm.Event)
	later   bool
	thinker *infer.Model // of the stage
	asked   []*Question  // without an answer, oldest first
	entry   uint64       // number of the entry being applied

	n      uint64        // entries applied
	now    reading.Stamp // of the last entry
	moment reading.Stamp // of the reading that is judged, by our clock
	begun  reading.Stamp // first reading or tick
	began  bool

	cells  []cell
	index  map[string]int
	extras []extra
	extra  map[string]int

	read   []float64 // room for the readings of a moment
	taken  []taken   // of the frame in hand, for the rows
	fresh  []bool    // of the cells: read since the total was judged
	whole  []float64 // the same, gaps filled
	shares []float64 // of each cell in the sum of all, while all read; nil before
	rows   rows
	course course
	toll   toll
	hooks  []hook
	says   infer.Result
	said   bool // says holds something
	units  bool // and that a unit was taken for another

	garbled  int
	unknown  map[string]int    // channels that nobody planned, with their readings
	clocks   map[string]*clock // of the senders
	tares    []Tared
	words    []Word
	away     []Away
	pulls    []Pulled
	pullFrom []float64 // what the cells read before the last of them; nil: nothing
	freed    bool
	atRisk   string // what the recording lacks
}

// Tared is a zeroing.
type Tared struct {
	At      reading.Stamp
	Kind    logbook.TareKind
	Who     string
	Insists bool
	OffN    []float64 // N, by cell: what each read
	Refused string    // why it was not done; empty when done
}

// Word is what a person said.
type Word struct {
	At     reading.Stamp
	Who    string
	Signed bool
	Says   string
	Step   string // of Moved: the step that the lift stands after; empty: as first rigged
}

// Away is a time without a watch.
type Away struct{ From, To reading.Stamp }

// New is a watch on the lift as first rigged; a person's word takes it on to what
// the plan says after its steps.
func New(p *verdict.Plan, o Options) (*Engine, error) {
	e := &Engine{
		plan: p, state: &p.States[0], panel: alarm.NewPanel(), show: o.Show, curve: o.Curves, later: o.Later, early: o.Early,
		index: map[string]int{}, extra: map[string]int{}, unknown: map[string]int{}, clocks: map[string]*clock{},
	}
	if e.show == nil {
		e.show = func(n float64) string { return fmt.Sprintf("%.1f kN", n/1000) }
	}
	if len(e.state.Expected) == 0 {
		return nil, fault.New(fault.Missing, "the plan has no load cell with a channel, so there is nothing to watch").
			Fix("give a leg a cell: {channel: ..., capacity: ..., accuracy: ...} or a load cell in its stack")
	}
	var err error
	if e.stages, err = stages(p, o, e.show); err != nil {
		return nil, err
	}
	first := &e.stages[0]
	e.card, e.model, e.thinker = first.card, first.model, first.thinker
	for i := range e.state.Expected {
		x := &e.state.Expected[i]
		leg := &p.Lift.Legs[x.Cell.Leg]
		planned, _ := leg.CellAt()
		c := cell{
			expected: x, leg: x.Cell.Leg, name: leg.Name, value: math.NaN(),
			hungN: first.hungN[i], slackN: first.slackN[i],
		}
		if planned != nil && planned.Capacity != nil {
			c.capacity = float64(planned.Capacity.Force)
		}
		c.holdsPeaks = holdsPeaks(leg)
		c.counter.Gate = swingShare * math.Max(math.Abs(x.NominalN), 1)
		c.counter.Step, c.swings.Range = c.counter.Gate, c.counter.Gate
		e.cells = append(e.cells, c)
		e.index[x.Channel] = i
	}
	for _, c := range p.Lift.Channels {
		e.extra[c.Name] = len(e.extras)
		e.extras = append(e.extras, extra{name: c.Name, kind: c.Kind, value: math.NaN()})
	}
	e.rules = newLimits(e.card, p)
	e.hooks = hooksOf(p, e.state)
	e.rows.cells = len(e.cells)
	e.fresh = make([]bool, len(e.cells))
	e.course.init(e)
	e.toll.init(e.model)
	return e, nil
}

// Apply takes the next entry of the logbook and says what changed. The events
// are good until the next call.
func (e *Engine) Apply(en *logbook.Entry) []alarm.Event {
	e.n++
	e.entry = en.N
	if en.At > e.now {
		e.now = en.At
	}
	if !e.began && (en.Kind == logbook.Frame || en.Kind == logbook.Tick) {
		e.began, e.begun = true, e.now
	}
	switch en.Kind {
	case logbook.Frame:
		e.frame(en.Frame)
	case logbook.Tick:
		e.tick()
	case logbook.Tare:
		e.tare(en)
	case logbook.Ack:
		e.panel.See(e.now, en.Alarm, en.Who)
	case logbook.Clear:
		e.panel.Clear(e.now, en.Alarm, en.Who)
	case logbook.Word:
		e.word(en)
	case logbook.Restart:
		e.restart(en)
	case logbook.Mark:
		switch en.Says {
		case logbook.AtRisk:
			e.risk(en.Text)
		case logbook.Tug:
			e.pull(en)
		}
	case logbook.Answer:
		e.answered(en)
	}
	return e.panel.Drain()
}

// frame takes readings.
func (e *Engine) frame(f *reading.Frame) {
	ck := e.clocks[f.Source]
	if ck == nil {
		ck = &clock{}
		e.clocks[f.Source] = ck
	}
	ck.note(e.now, f.Readings)
	clear(e.fresh)
	waits := false
	for i := range f.Readings {
		r := &f.Readings[i]
		if k, ok := e.index[r.Channel]; ok {
			if e.fresh[k] { // the next sample of it: the sum as it stood before
				e.judgeTotal()
				clear(e.fresh)
			}
			e.fresh[k], waits = true, true
			own := *r // the logbook keeps what came
			at := ck.here(e.now, r)
			if own.Marks&reading.Timed == 0 {
				own.At = e.now
			}
			if f := e.curve[r.Channel]; f != nil {
				own.Value = f(r.Value)
			}
			// A delay of an alarm counts from when it was measured.
			e.moment = max(min(at, e.now), e.now-reading.Seconds(mostLag))
			e.cells[k].clock, e.cells[k].unsure = ck, own.Marks&reading.Timed != 0 && !ck.settled(e.now)
			e.take(k, &own, at)
			continue
		}
		if k, ok := e.extra[r.Channel]; ok {
			x := &e.extras[k]
			if r.Usable() && x.order.Next(r).Turn == reading.Fresh {
				x.value, x.at = r.Value, e.now
			}
			continue
		}
		if len(e.unknown) < 64 || e.unknown[r.Channel] > 0 {
			e.unknown[r.Channel]++
		}
	}
	if waits {
		e.judgeTotal()
	}
	if said := e.panel.Waiting(); e.early != nil && len(said) > 0 {
		e.early(said)
	}
	for i := range e.taken {
		if t := &e.taken[i]; e.rows.add(t.cell, t.at, t.value, e.cells) {
			e.course.row(e, e.rows.last())
			e.pulled()
		}
	}
	e.taken = e.taken[:0]
	for _, h := range f.Health {
		if k, ok := e.index[h.Channel]; ok {
			e.health(&e.cells[k], h)
		}
	}
	if len(f.Garbled) > 0 {
		e.garbled += len(f.Garbled)
		e.panel.Tell(e.now, alarm.Condition{Kind: alarm.Garbled, Where: f.Source, On: true, Value: float64(e.garbled), Text: fmt.Sprintf("%d messages of %s could not be read: %s.", len(f.Garbled), f.Source, f.Garbled[0])})
		e.panel.Tell(e.now, alarm.Condition{Kind: alarm.Garbled, Where: f.Source})
	}
}

// Corrected is the force that a reading of a cell comes to as things stand, by
// its curve and with the tare taken off, N. ok is false for a channel that is
// no cell's, and for a value that may not be computed with.
func (e *Engine) Corrected(r *reading.Reading) (n float64, ok bool) {
	k, cell := e.index[r.Channel]
	if !cell || !r.Usable() {
		return 0, false
	}
	n = r.Value
	if f := e.curve[r.Channel]; f != nil {
		n = f(n)
	}
	return n - e.cells[k].offN, true
}

// taken is a reading that was judged and is not in a row yet.
type taken struct {
	cell  int
	at    reading.Stamp
	value float64
}

// take takes a reading of cell k.
func (e *Engine) take(k int, r *reading.Reading, at reading.Stamp) {
	c := &e.cells[k]
	if !c.receive(e.now, at, r) {
		e.unseen(k, r)
		return
	}
	e.judge(k)
	e.taken = append(e.taken, taken{k, at, c.value})
}

// tick lets what depends on time alone happen.
func (e *Engine) tick() {
	for k := range e.cells {
		e.silence(k)
	}
	if e.rows.overdue(e.now, e.cells) {
		e.course.row(e, e.rows.last())
	}
	e.panel.Tick(e.now)
}

// tare takes the readings of unloaded cells as what they should read there, or
// says why not: all cells or none.
func (e *Engine) tare(en *logbook.Entry) {
	t := Tared{At: e.now, Kind: en.Tare, Who: en.Who, Insists: en.Insists, OffN: make([]float64, len(e.cells))}
	loaded := false
	for i := range e.cells {
		c := &e.cells[i]
		took, err := e.tareOf(i, en)
		if err != nil {
			t.Refused = c.expected.Channel + ": " + err.Error()
			break
		}
		loaded = loaded || took.Insisted != nil
		want := c.hungN
		if en.Tare == logbook.Attached {
			want = c.slackN
		}
		t.OffN[i] = took.Force - c.expected.Cell.Zero - want
	}
	if t.Refused == "" {
		for i := range e.cells {
			e.cells[i].tare(t.OffN[i])
		}
		e.rows.shift(t.OffN)
		e.course.tared(e, t)
	}
	e.tares = append(e.tares, t)
	if loaded && t.Refused == "" {
		e.panel.Tell(e.now, alarm.Condition{Kind: alarm.TareLoaded, On: true, Air: e.course.air(), Text: "Zero was pressed with load on the cells."})
	}
}

// tareOf asks for the tare of one cell, gross.
func (e *Engine) tareOf(i int, en *logbook.Entry) (metrology.Tare, error) {
	c := &e.cells[i]
	var read []float64
	from, to := math.Inf(1), math.Inf(-1)
	for _, r := range e.rows.since(e.now.Since(e.rows.zero) - tareS) {
		if !math.IsNaN(r.read[i]) {
			read = append(read, r.read[i]+c.expected.Cell.Zero)
			from, to = min(from, r.t), max(to, r.t)
		}
	}
	if c.quality() != Good || len(read) < 2 {
		return metrology.Tare{}, fault.New(fault.Missing, "no readings to go by").Fix("wait until it reads, and zero again")
	}
	full := c.capacity
	if full == 0 {
		full = math.Abs(c.expected.NominalN)
	}
	w, err := metrology.NewWindow(read, time.Duration((to-from)*1e9))
	if err != nil {
		return metrology.Tare{}, err
	}
	limits := metrology.UsualTareLimits(full)
	limits.Over = time.Duration(0.8 * tareS * 1e9)
	limits.Readings = max(3, min(limits.Readings, int(0.8*tareS/max(c.period, 1e-3))))
	return metrology.TareRequest{
		Kind: metrology.Zeroed(en.Tare), Window: w, Capacity: full, Rigging: max(0, c.hungN+c.expected.Cell.Zero),
		By: en.Who, At: e.now.Time(), Insist: en.Insists, Limits: limits,
	}.Take()
}

// word takes what a person says.
func (e *Engine) word(en *logbook.Entry) {
	w := Word{At: e.now, Who: en.Who, Signed: en.Signed, Says: en.Says}
	if en.Says == logbook.Moved {
		w.Step = en.Text
	}
	e.words = append(e.words, w)
	switch en.Says {
	case logbook.Daylight:
		e.course.told(e)
	case logbook.SetDown:
		e.course.setDown(e)
	case logbook.Freed:
		e.freed = true
	case logbook.Moved:
		e.move(en.Text)
	case logbook.CallHold:
		e.panel.Tell(e.now, alarm.Condition{Kind: alarm.Called, On: true, Air: e.course.air(), Text: en.Who + " called a hold."})
	}
}

// left is what a watch needs to go on after it was away.
type left struct {
	SHA256 string // of the plan's file
	Alarms []alarm.Alarm
	Tares  []Tared
	Offs   []float64
	Peaks  []float64
	Clocks map[string]float64 // s, by source
	Phase  Phase
	Air    bool
	Freed  bool
	HoldN  float64
	Toll   kept
	Step   string
}

// State is what a Restart entry should bring along.
func (e *Engine) State() string {
	l := left{SHA256: e.plan.Lift.SHA256, Alarms: e.panel.Raised(), Tares: e.tares, Phase: e.course.phase, Air: e.course.air(), Freed: e.freed, HoldN: e.course.levelN, Clocks: map[string]float64{}, Toll: e.keepToll(), Step: e.stages[e.stage].name}
	for i := range e.cells {
		l.Offs = append(l.Offs, e.cells[i].offN)
		l.Peaks = append(l.Peaks, e.cells[i].peak)
	}
	for source, c := range e.clocks {
		if c.set {
			l.Clocks[source] = c.off
		}
	}
	b, err := json.Marshal(l)
	if err != nil {
		return ""
	}
	return string(b)
}

// restart takes up a watch that was away.
func (e *Engine) restart(en *logbook.Entry) {
	var l left
	if en.Text != "" && json.Unmarshal([]byte(en.Text), &l) == nil && len(l.Offs) == len(e.cells) {
		stops := slices.DeleteFunc(l.Alarms, func(a alarm.Alarm) bool { return a.Severity != alarm.Stop })
		e.panel.Restore(e.now, stops)
		e.tares, e.freed = l.Tares, l.Freed
		for i := range e.cells {
			e.cells[i].offN, e.cells[i].peak = l.Offs[i], l.Peaks[i]
		}
		for source, off := range l.Clocks {
			e.clocks[source] = &clock{}
			e.clocks[source].resume(e.now, off)
		}
		e.move(l.Step)
		e.course.resume(e, l)
		e.resumeToll(l.Toll, l.Phase != IdlePhase && l.Phase != "")
	}
	e.away = append(e.away, Away{en.Since, e.now})
	e.panel.Tell(e.now, alarm.Condition{Kind: alarm.WasAway, On: true, Value: e.now.Since(en.Since), Air: l.Air, Text: fmt.Sprintf("The watch was away for %.0f s.", e.now.Since(en.Since))})
}

// risk tells the crew that the recording lacks something; empty: it is whole
// again.
func (e *Engine) risk(why string) {
	e.atRisk = why
	e.panel.Tell(e.now, alarm.Condition{Kind: alarm.Recording, On: why != "", Text: why, Air: e.course.air()})
}
