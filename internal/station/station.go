// Package station keeps one lift under watch in this process: it puts what
// comes in into one order, has the engine judge it at once, tells whoever
// listens, and has it recorded.
//
// The engine comes first: alarms wait for no disk and no network. The recording
// follows, and a disk that will not take more is a caution on the screen, not
// the end of the watch.
package station

import (
	"context"
	"encoding/json"
	"fmt"
	"path/filepath"
	"sync"
	"time"

	"plumbhook/alarm"
	"plumbhook/internal/intake"
	"plumbhook/internal/server"
	"plumbhook/logbook"
	"plumbhook/reading"
	"plumbhook/record"
	"plumbhook/verdict"
	"plumbhook/watch"
)

// Options are what Open needs.
type Options struct {
	Dir   string // data folder; the recording is in its subfolder record
	Plan  *verdict.Plan
	Watch watch.Options
	Keep  record.Keep      // how much of the recording stays; zero: all
	Map   *intake.Map      // channel map with the calibrations of the cells; nil without
	Now   func() time.Time // time.Now when nil
}

// Station is a lift under watch.
type Station struct {
	plan *verdict.Plan
	now  func() time.Time

	mu       sync.Mutex
	engine   *watch.Engine
	rec      *record.Recording
	n        uint64
	early    int  // events of the entry in hand that are told already
	thinking bool // about a question of the engine
	closed   bool
	at       reading.Stamp
	opened   reading.Stamp
	state    string // last kept
	stateAt  reading.Stamp
	curves   []byte        // calibrations, as JSON
	curvesAt reading.Stamp // last noted
	risk     string
	keep     record.Keep
	keepErr  error  // of removing what is old
	busWhy   string // what the message server lacks
	site     *Site  // nil without gateways

	listen    sync.Mutex
	listeners map[*listener]struct{}
	stop      chan struct{}
	done      sync.WaitGroup
}

type listener struct {
	mu     sync.Mutex
	events []alarm.Event
	wake   chan struct{}
}

const (
	viewEvery  = 50 * time.Millisecond
	stateEvery = 5.0 // s between notes of the engine's state in the logbook
	stateMark  = "state"
	slowDisk   = 5.0 // s that the recording may be behind before the crew is told
)

// Open begins a watch, or goes on with the one that the recording in the
// folder was left in. The recovery says what the recording lacks.
func Open(o Options) (*Station, record.Recovery, error) {
	if o.Now == nil {
		o.Now = time.Now
	}
	cals := calibrations(o.Map)
	var err error
	if o.Watch.Curves, err = curves(cals); err != nil {
		return nil, record.Recovery{}, err
	}
	o.Watch.Later = true
	s := &Station{plan: o.Plan, now: o.Now, keep: o.Keep, listeners: map[*listener]struct{}{}, stop: make(chan struct{})}
	o.Watch.Early = func(events []alarm.Event) {
		s.told(events)
		s.early = len(events)
	}
	if s.engine, err = watch.New(o.Plan, o.Watch); err != nil {
		return nil, record.Recovery{}, err
	}
	rec, found, err := record.Open(filepath.Join(o.Dir, "record"), record.Options{})
	if err != nil {
		return nil, found, err
	}
	s.rec, s.n, s.at = rec, found.Last, found.LastAt
	left, same, err := s.left(found, o.Watch)
	if err != nil {
		rec.Close()
		return nil, found, err
	}
	if s.curves, err = json.Marshal(cals); err != nil {
		rec.Close()
		return nil, found, err
	}
	sha, begun := o.Plan.Lift.SHA256, uint64(0)
	if same {
		s.apply(logbook.Entry{Kind: logbook.Restart, Since: found.LastAt, Text: left})
	} else {
		begun = s.n + 1
		s.apply(logbook.Entry{Kind: logbook.Plan, Text: sha})
	}
	s.noteCurves()
	s.opened = s.at
	s.done.Add(3)
	go s.retain(begun)
	go s.tick()
	go s.show()
	return s, found, nil
}

// left finds the state that the watch was in when the recording ended, and
// whether it was on the same plan: the last state noted, and what was entered
// after it gone through again.
func (s *Station) left(found record.Recovery, with watch.Options) (state string, same bool, err error) {
	if found.Last == 0 {
		return "", false, nil
	}
	var tail []logbook.Entry // after the state
	begun := false           // on our plan
	var at reading.Stamp     // of the state
	for e, err := range s.rec.Reader().Since(found.LastAt.Plus(-10 * stateEvery)) {
		switch {
		case err != nil: // what a recording lacks is told by Recovery
		case e.Kind == logbook.Plan:
			state, at, tail, begun = "", e.At, tail[:0], e.Text == s.plan.Lift.SHA256
		case e.Kind == logbook.Mark && e.Says == stateMark:
			var l struct{ SHA256 string }
			if json.Unmarshal([]byte(e.Text), &l) == nil && l.SHA256 == s.plan.Lift.SHA256 {
				state, at, tail, begun = e.Text, e.At, tail[:0], true
			}
		case begun && e.Kind != logbook.Event:
			tail = append(tail, e.Clone())
		}
	}
	if !begun {
		return "", false, nil
	}
	with.Early = nil // it was told when it happened
	again, err := watch.New(s.plan, with)
	if err != nil {
		return "", false, err
	}
	if state != "" {
		again.Apply(&logbook.Entry{Kind: logbook.Restart, At: at, Since: at, Text: state})
	}
	for i := range tail {
		again.Apply(&tail[i])
	}
	return again.State(), true, nil
}

// Close ends the watch and the recording.
func (s *Station) Close() error {
	s.mu.Lock()
	s.closed = true
	s.mu.Unlock()
	close(s.stop)
	s.done.Wait()
	s.mu.Lock()
	defer s.mu.Unlock()
	s.keepState()
	return s.rec.Close()
}

// tick has the clock entered.
func (s *Station) tick() {
	defer s.done.Done()
	t := time.NewTicker(time.Duration(watch.TickS * float64(time.Second)))
	defer t.Stop()
	for {
		select {
		case <-s.stop:
			return
		case <-t.C:
			s.mu.Lock()
			s.apply(logbook.Entry{Kind: logbook.Tick})
			s.atRisk()
			if s.at.Since(s.stateAt) > stateEvery {
				s.keepState()
			}
			if s.at.Since(s.curvesAt) > curvesEvery {
				s.noteCurves()
			}
			s.mu.Unlock()
		}
	}
}

// apply enters an entry; the lock is held. Its time is that of entering.
func (s *Station) apply(e logbook.Entry) {
	s.at = max(s.at, reading.At(s.now()))
	s.n++
	e.N, e.At = s.n, s.at
	s.early = 0
	events := s.engine.Apply(&e)
	s.told(events[s.early:])
	s.write(&e)
	s.said(events)
	s.think()
}

// think has the latest question answered, one at a time, beside the watch.
func (s *Station) think() {
	q := s.engine.Question()
	if q == nil || s.thinking || s.closed {
		return
	}
	s.thinking = true
	s.done.Go(func() {
		q.Work()
		s.mu.Lock()
		defer s.mu.Unlock()
		s.thinking = false
		s.apply(q.Entry())
	})
}

// said records what the watch said.
func (s *Station) said(events []alarm.Event) {
	for i := range events {
		b, err := json.Marshal(&events[i])
		if err != nil {
			continue
		}
		s.n++
		s.write(&logbook.Entry{N: s.n, At: s.at, Kind: logbook.Event, Text: string(b)})
	}
	if len(events) > 0 {
		s.keepState()
	}
}

// write records an entry. What the queue cannot take is counted by the
// recording, which marks the gap.
func (s *Station) write(e *logbook.Entry) { _ = s.rec.Append(e) }

// keepState notes what a restart needs.
func (s *Station) keepState() {
	state := s.engine.State()
	s.stateAt = s.at
	if state == s.state {
		return
	}
	s.state = state
	s.n++
	s.write(&logbook.Entry{N: s.n, At: s.at, Kind: logbook.Mark, Says: stateMark, Text: state})
}

// atRisk tells the crew how the recording does.
func (s *Station) atRisk() {
	st := s.rec.Status()
	why := ""
	switch {
	case st.Incomplete != nil:
		why = fmt.Sprintf("%d entries could not be recorded: %s.", st.Incomplete.Lost, st.Incomplete.Reason)
	case st.Trouble != nil:
		why = fmt.Sprintf("The recording waits for the disk: %v.", st.Trouble)
	case st.LastAt.Since(max(st.SafeAt, s.opened)) > slowDisk:
		why = fmt.Sprintf("The disk is slow: the recording waits for it for more than %.0f s.", slowDisk)
	default:
		why = s.busWhy
	}
	if why != s.risk {
		s.risk = why
		s.apply(logbook.Entry{Kind: logbook.Mark, Says: logbook.AtRisk, Text: why})
	}
}

// told passes events on.
func (s *Station) told(events []alarm.Event) {
	if len(events) == 0 {
		return
	}
	s.listen.Lock()
	defer s.listen.Unlock()
	for l := range s.listeners {
		l.mu.Lock()
		l.events = append(l.events, events...)
		l.mu.Unlock()
		select {
		case l.wake <- struct{}{}:
		default:
		}
	}
}

// show wakes the listeners for a new view.
func (s *Station) show() {
	defer s.done.Done()
	t := time.NewTicker(viewEvery)
	defer t.Stop()
	for {
		select {
		case <-s.stop:
			return
		case <-t.C:
			s.listen.Lock()
			for l := range s.listeners {
				select {
				case l.wake <- struct{}{}:
				default:
				}
			}
			s.listen.Unlock()
		}
	}
}

// Watch gives every event from now on, and how things stand up to twenty
// times a second. A slow listener misses views, never events.
func (s *Station) Watch(ctx context.Context) <-chan server.Update {
	l := &listener{wake: make(chan struct{}, 1)}
	s.listen.Lock()
	s.listeners[l] = struct{}{}
	s.listen.Unlock()
	out := make(chan server.Update)
	go func() {
		defer func() {
			s.listen.Lock()
			delete(s.listeners, l)
			s.listen.Unlock()
			close(out)
		}()
		for {
			select {
			case <-ctx.Done():
				return
			case <-s.stop:
				return
			case <-l.wake:
			}
			l.mu.Lock()
			events := l.events
			l.events = nil
			l.mu.Unlock()
			// Events do not wait for a view, which waits for the engine.
			if len(events) > 0 && !send(ctx, s.stop, out, server.Update{Events: events}) {
				return
			}
			v := s.View()
			if !send(ctx, s.stop, out, server.Update{View: &v}) {
				return
			}
		}
	}()
	return out
}

func send(ctx context.Context, stop <-chan struct{}, out chan<- server.Update, u server.Update) bool {
	select {
	case out <- u:
		return true
	case <-ctx.Done():
	case <-stop:
	}
	return false
}

// View tells how things stand.
func (s *Station) View() watch.View {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.engine.View()
}

// Enter enters what a person does: tare, ack, clear, word, mark. It returns
// when that is on disk.
func (s *Station) Enter(ctx context.Context, e logbook.Entry) error {
	s.mu.Lock()
	s.apply(e)
	s.mu.Unlock()
	return s.rec.Sync(ctx)
}

// Live enters a frame and waits for nothing.
func (s *Station) Live(f *reading.Frame) {
	s.mu.Lock()
	defer s.mu.Unlock()
	f.Arrived = max(s.at, reading.At(s.now()))
	s.apply(logbook.Entry{Kind: logbook.Frame, Frame: f})
}

// Put enters a frame and returns when it is on disk.
func (s *Station) Put(ctx context.Context, f *reading.Frame) error {
	s.Live(f)
	return s.rec.Sync(ctx)
}

// Recording is the watch's own, for who carries it elsewhere.
func (s *Station) Recording() *record.Recording { return s.rec }

// Plan is the plan under watch.
func (s *Station) Plan() *verdict.Plan { return s.plan }

// Status tells how recording, message server and gateways do.
func (s *Station) Status() server.Status {
	st := s.rec.Status()
	rec := server.Part{Name: "recording", State: server.OK, Text: fmt.Sprintf("%d entries, on disk up to %.1f s ago", st.Last, st.LastAt.Since(st.SafeAt))}
	switch {
	case st.Incomplete != nil:
		rec.State, rec.Text = server.AtRisk, fmt.Sprintf("incomplete: %d entries lost since %s, %s", st.Incomplete.Lost, st.Incomplete.Since.Time().Format(time.RFC3339), st.Incomplete.Reason)
	case st.Trouble != nil:
		rec.State, rec.Text = server.AtRisk, st.Trouble.Error()
	}
	s.mu.Lock()
	site, keepErr := s.site, s.keepErr
	s.mu.Unlock()
	if keepErr != nil {
		rec.State, rec.Text = server.AtRisk, rec.Text+"; what is old cannot be removed: "+keepErr.Error()
	}
	out := server.Status{rec}
	if site != nil {
		out = append(out, site.status()...)
	}
	return out
}
