package metrology

import (
	"cmp"
	"math"
	"slices"
	"strings"
	"time"

	"plumbhook/fault"
	"plumbhook/quantity"
)

// The classes of fault of tare and zero.
const (
	Unsteady  fault.Code = "unsteady"   // readings that move more than the stated spread
	UnderLoad fault.Code = "under-load" // more, or less, on the cell than the rigging
)

// A Window is the readings of one channel over a stretch of time, in short.
type Window struct {
	N         int
	Over      time.Duration
	Mean, SD  float64 // N
	Low, High float64 // N, the smallest and largest reading
}

// NewWindow sums up readings in N taken over a time. It refuses fewer than
// two, and one that is not a number.
func NewWindow(readings []float64, over time.Duration) (Window, error) {
	if len(readings) < 2 {
		return Window{}, fault.New(fault.Missing, "%d readings in the window", len(readings)).Fix("take at least two")
	}
	if i := slices.IndexFunc(readings, func(v float64) bool { return !finite(v) }); i >= 0 {
		return Window{}, fault.New(fault.Range, "reading %d of the window is not a number", i+1)
	}
	w := Window{N: len(readings), Over: over, Mean: mean(readings), Low: slices.Min(readings), High: slices.Max(readings)}
	for _, v := range readings {
		w.SD += (v - w.Mean) * (v - w.Mean)
	}
	w.SD = math.Sqrt(w.SD / float64(w.N-1))
	return w, nil
}

// Steadiness says when a window counts as still.
type Steadiness struct {
	Spread   float64       // N, largest less smallest reading allowed
	Readings int           // at least so many
	Over     time.Duration // taken over at least this long
	Unit     string        // of forces in faults; kN if empty
}

// check is nil for a steady window.
func (s Steadiness) check(w Window) *fault.Fault {
	switch {
	case w.N < s.Readings || w.Over < s.Over:
		return fault.New(fault.Missing, "%d readings over %v are too few to call it steady", w.N, w.Over).
			Fix("hold still for %v and at least %d readings", s.Over, s.Readings)
	case !(w.High-w.Low <= s.Spread):
		return fault.New(Unsteady, "the reading moves by %s, and %s is allowed", s.people(w.High-w.Low), s.people(s.Spread)).
			Fix("let it come to rest and take it again")
	}
	return nil
}

// people writes a force for people.
func (s Steadiness) people(n float64) string {
	return quantity.Known(quantity.Force(n)).Format(cmp.Or(s.Unit, "kN"))
}

// Zeroed says what the zero of a channel's readings means. The values are the
// words of the lift file.
type Zeroed string

// Hung and attached are not the same thing, and neither may stand for the
// other. Hung: zeroed with all rigging below the cell hanging free and
// unattached, so that a reading is the load alone. Attached: zeroed with the
// rigging attached to the load and slack, when the cell bore only part of the
// rigging and the rest, unknown, came on it with the lift. None: not zeroed
// since the cell was bare; a reading is all that hangs below.
const (
	Hung     Zeroed = "hung"
	Attached Zeroed = "attached"
	None     Zeroed = "none"
)

// An Interval is what a force can be, N. Where it is known Low equals High.
type Interval struct{ Low, High float64 }

// Gross gives the force that really is on the cell for a reading zeroed in
// this way, with rigging the weight in N of all rigging below the cell. A hung
// zero took off the whole of it; an attached one anything from none of it to
// all of it. Limits are checked on the high end.
func (z Zeroed) Gross(reading, rigging float64) Interval {
	switch z {
	case Hung:
		return Interval{reading + rigging, reading + rigging}
	case Attached:
		return Interval{reading, reading + rigging}
	}
	return Interval{reading, reading}
}

// Load gives what hangs below the rigging: the gross force less the rigging.
// It is the load's weight only when the load is free and the leg plumb.
func (z Zeroed) Load(reading, rigging float64) Interval {
	g := z.Gross(reading, rigging)
	return Interval{g.Low - rigging, g.High - rigging}
}

// TareLimits say what a tare must keep to.
type TareLimits struct {
	Steadiness
	// More than the rigging may be on the cell by Share of its capacity plus
	// RiggingShare of the rigging's weight; less, by as much.
	Share, RiggingShare float64
}

// UsualTareLimits suit a cell of that capacity in N: ten readings over two
// seconds that keep within 0.2 % of capacity, and 2 % of capacity plus 10 %
// of the rigging's weight beside what should be there. Common practice, no
// source.
func UsualTareLimits(capacity float64) TareLimits {
	return TareLimits{
		Steadiness:   Steadiness{Spread: 0.002 * capacity, Readings: 10, Over: 2 * time.Second},
		Share:        0.02,
		RiggingShare: 0.1,
	}
}

// TareRequest asks to call what a cell reads now its tare.
type TareRequest struct {
	Kind     Zeroed    // Hung or Attached
	Window   Window    // gross readings, N
	Capacity float64   // of the cell, N
	Rigging  float64   // what all rigging below the cell should weigh, N; 0 if nobody knows
	By       string    // who asks
	At       time.Time // when
	Insist   bool      // take it although the cell bears what it should not
	Limits   TareLimits
}

// A Tare is a force that was set to zero, with everything one needs to judge
// it later.
type Tare struct {
	Kind    Zeroed
	Force   float64 // taken off from now on, N
	U       float64 // its standard uncertainty, N: that of one reading
	Window  Window
	Rigging float64 // what should have been there, N
	By      string
	At      time.Time
	// Insisted holds what was wrong when By took the tare all the same; nil
	// for a tare within its limits.
	Insisted *fault.Fault
}

// Take takes the tare, or says why not. Without a name, a time, enough steady
// readings or sound figures there is none, whoever insists. A cell that bears
// more than the rigging (a load is on it), or less (the rigging still rests
// on something, or zero has moved), is refused with code UnderLoad unless the
// request insists; then the tare says so for good.
//
// A hung cell should bear the rigging, an attached one from nothing to all of
// it. The uncertainty is that of one reading and not of the mean, since
// readings of a filtered channel follow each other and n of them do not make
// it √n better.
func (r TareRequest) Take() (Tare, error) {
	switch {
	case r.Kind != Hung && r.Kind != Attached:
		return Tare{}, fault.New(fault.Ambiguous, "a tare without saying how the rigging hangs").
			Fix("say hung (free and unattached) or attached (attached and slack)")
	case strings.TrimSpace(r.By) == "":
		return Tare{}, fault.New(fault.Missing, "nobody takes this tare").Fix("give the name of who takes it")
	case r.At.IsZero():
		return Tare{}, fault.New(fault.Missing, "a tare without a time")
	case !(r.Capacity > 0) || !finite(r.Capacity) || !(r.Rigging >= 0) || !finite(r.Rigging) || !finite(r.Window.Mean):
		return Tare{}, fault.New(fault.Range, "a cell of %g N with rigging of %g N that reads %g N", r.Capacity, r.Rigging, r.Window.Mean)
	}
	if f := r.Limits.check(r.Window); f != nil {
		return Tare{}, f
	}
	t := Tare{Kind: r.Kind, Force: r.Window.Mean, U: r.Window.SD, Window: r.Window, Rigging: r.Rigging, By: r.By, At: r.At}
	if f := r.bears(); f != nil {
		if !r.Insist {
			return Tare{}, f
		}
		t.Insisted = f
	}
	return t, nil
}

// bears is nil if the cell bears what it should.
func (r TareRequest) bears() *fault.Fault {
	margin := r.Limits.Share*r.Capacity + r.Limits.RiggingShare*r.Rigging
	least := r.Rigging
	if r.Kind == Attached {
		least = 0
	}
	switch v := r.Window.Mean; {
	case !(v <= r.Rigging+margin):
		return fault.New(UnderLoad, "the cell bears %s, the rigging below it should weigh %s: something is on it", r.Limits.people(v), r.Limits.people(r.Rigging)).
			Fix("set the load down and slack off; to take it all the same a named person must insist")
	case !(v >= least-margin):
		return fault.New(UnderLoad, "the cell bears %s, at least %s should be on it: the rigging rests on something, or zero has moved", r.Limits.people(v), r.Limits.people(least)).
			Fix("let the rigging hang clear; to take it all the same a named person must insist")
	}
	return nil
}

// Net gives a gross force less the tare, N.
func (t Tare) Net(gross float64) float64 { return gross - t.Force }

// Component is what the tare adds to the budget of a net force. The caller
// adds it once for all readings that were tared together, or names its Cause.
func (t Tare) Component() Component { return TypeA("tare", t.U, 1, t.Window.N-1).Times(-1) }

// ZeroState is what a zero check found.
type ZeroState string

const (
	ZeroReturned ZeroState = "returned" // within the limit: the readings in between stand
	ZeroShifted  ZeroState = "shifted"  // beyond the limit: they are off by up to the change
	ZeroExamine  ZeroState = "examine"  // so far that the cell must be examined before it is used again
)

// ExamineShare of the capacity is how far a zero may move before the cell
// itself is in doubt: bent by an overload, or a broken bridge. Common
// practice, no source.
const ExamineShare = 0.02

// A ZeroReturn compares zero after set-down with zero before the lift.
type ZeroReturn struct {
	Change float64 // after less before, N
	U      float64 // standard uncertainty of the change, N
	Limit  float64 // N
	State  ZeroState
}

// CheckZero compares two windows taken in the same state of the rigging, both
// hung or both attached and slack. The limit in N comes from the cell's data,
// Accuracy.ZeroLimit. It refuses a window that is not steady and a limit that
// is not known: a zero nobody can judge has not returned.
func CheckZero(before, after Window, limit, capacity float64, s Steadiness) (ZeroReturn, error) {
	if !(limit >= 0) || !finite(limit) || !(capacity > 0) {
		return ZeroReturn{}, fault.New(fault.Missing, "how far zero may move on this cell is not known").
			Fix("give its zero return, or its accuracy of full scale")
	}
	for _, w := range []Window{before, after} {
		if f := s.check(w); f != nil {
			return ZeroReturn{}, f
		}
	}
	z := ZeroReturn{Change: after.Mean - before.Mean, U: math.Hypot(before.SD, after.SD), Limit: limit, State: ZeroShifted}
	switch d := math.Abs(z.Change); {
	case d <= limit:
		z.State = ZeroReturned
	case d > ExamineShare*capacity:
		z.State = ZeroExamine
	}
	return z, nil
}

// Meaning says in words what the check means, without figures.
func (z ZeroReturn) Meaning() string {
	cause := "something still hangs on the cell, or its zero has moved up"
	if z.Change < 0 {
		cause = "rigging that was tared is no longer on the cell or rests on something, or its zero has moved down"
	}
	switch z.State {
	case ZeroReturned:
		return "zero came back: the readings since the zero before stand"
	case ZeroShifted:
		return "zero did not come back: " + cause + "; readings since the zero before may be off by as much as the change"
	}
	return "zero is far off: " + cause + "; if nothing is on it, the cell must be examined before it is used again, and the readings since the zero before are in doubt"
}

// Component is what the change adds to the budget of a reading taken in
// between: nobody knows when it came, so its whole size is a hard limit.
func (z ZeroReturn) Component() Component { return Rectangular("change of zero", math.Abs(z.Change)) }
