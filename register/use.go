package register

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"plumbhook/fault"
	"plumbhook/gear"
	"plumbhook/metrology"
	"plumbhook/quantity"
)

// Use is what one watched lift took of an item. Forces are in N, gross.
type Use struct {
	Recording string // its id: a recording counts once for an item
	Lift      string // title of the lift
	Where     string // in its lift file
	On        Date
	Peak      float64 // the most it bore
	U95       float64 // 95 % half-width of that
	AtLeast   bool    // it may have been more, Why says why
	Unseen    bool    // nothing tells the peak, Why says why
	Why       string
	Limit     float64 // rating as rigged; 0: none was known
	Lifts     int     // times that load was taken
	Hours     float64 // with load on the hooks
	Shocks    int
	Swings    []Swings
}

// Swings is how many load cycles had a range from From up to To, N.
type Swings struct{ From, To, Count float64 }

// Life is what the uses of an item add up to. Over counts watched lifts whose
// peak went above so much of the rating.
type Life struct {
	Watched, Lifts, Shocks, Unseen int
	Hours                          float64
	Peak                           float64 // greatest ever, N
	PeakAtLeast                    bool    // in some lift more may have been borne than was seen
	PeakOn                         Date
	PeakLift                       string
	Over50, Over75, Over100        int
	Swings                         []Swings // of all lifts, by range

	// Proposed is quarantine that a lift asked for and nobody has answered yet:
	// the item is held until somebody looks at it.
	Proposed   string
	ProposedOn Date

	// A load cell past its capacity: the most since it was last cleared, N, and
	// what has been done since.
	Strain      float64
	StrainOn    Date
	ZeroChecked bool
	Looked      bool

	Override *Override
}

// Override lets a load cell be used past its calibration: a named person
// answers for it until a day, and for how fast it may drift.
type Override struct {
	By, Why string
	Until   Date
	PerYear float64 // drift, share of the reading a year
}

// Using records a use. It asks for quarantine by itself where more was borne
// than the item is rated for, or a shock was.
type Using struct{ Use Use }

// Confirming quarantines an item as a lift asked for; Refusing does not, and
// says why.
type (
	Confirming struct{ Reason string }
	Refusing   struct{ Reason string }
)

// ZeroCheck records that the zero of a load cell was looked at unloaded: what it
// read, and whether that is its zero.
type ZeroCheck struct {
	Found string
	Good  bool
}

// Overriding lets a load cell be used past its calibration.
type Overriding struct {
	Why     string
	Until   Date
	PerYear float64
}

// longestOverride is how many days an override may hold (common practice, no
// source): it bridges the time to the laboratory, no more.
const longestOverride = 92

func (c Using) check(it *Item, s Stamp) error {
	u := &c.Use
	for _, n := range []float64{u.Peak, u.U95, u.Limit, u.Hours} {
		if math.IsNaN(n) || math.IsInf(n, 0) {
			return fault.New(fault.Internal, "a use that is no number").In(it.Serial)
		}
	}
	switch {
	case u.Recording == "" || u.On == "":
		return fault.New(fault.Missing, "a use needs its recording and its day").In(it.Serial)
	case u.On > s.Day:
		return fault.New(fault.Range, "the lift of %s lies after %s, the day of this entry", u.On, s.Day).In(it.Serial).Fix("look at the clock of the recording")
	}
	return nil
}

// apply adds a use up.
func (c Using) apply(it *Item, _ Stamp) {
	u, l := &c.Use, &it.Life
	l.Watched++
	l.Lifts, l.Hours, l.Shocks = l.Lifts+u.Lifts, l.Hours+u.Hours, l.Shocks+u.Shocks
	l.PeakAtLeast = l.PeakAtLeast || u.AtLeast || u.Unseen
	if u.Unseen {
		l.Unseen++
	}
	if u.Peak > l.Peak {
		l.Peak, l.PeakOn, l.PeakLift = u.Peak, u.On, u.Lift
	}
	if n := u.rating(it); n > 0 {
		for _, over := range []struct {
			share float64
			count *int
		}{{0.5, &l.Over50}, {0.75, &l.Over75}, {1, &l.Over100}} {
			if u.Peak > over.share*n {
				*over.count++
			}
		}
	}
	l.Swings = addSwings(l.Swings, u.Swings)
	if cap, _ := it.cell(); cap > 0 && u.Peak > cap {
		l.Strain, l.StrainOn = max(l.Strain, u.Peak), u.On
		l.ZeroChecked, l.Looked = false, false
	}
	if why := u.asks(it); why != "" {
		if l.Proposed != "" {
			why = l.Proposed + "; " + why
		}
		l.Proposed, l.ProposedOn = why, u.On
	}
}

// say words a use.
func (u *Use) say() string {
	s := fmt.Sprintf("%s, %s: ", u.Lift, u.Where)
	switch {
	case u.Unseen:
		s += "its load is not known: " + u.Why
	case u.AtLeast:
		s += fmt.Sprintf("bore %s at least (%s)", kN(u.Peak), u.Why)
	default:
		s += "bore " + kN(u.Peak)
	}
	s += fmt.Sprintf("; load taken %d times, %.2f h on the hook", u.Lifts, u.Hours)
	if u.Shocks > 0 {
		s += fmt.Sprintf(", %d shocks", u.Shocks)
	}
	return s
}

// rating is what a use is held against: the least of tag and as rigged; 0:
// neither is known.
func (u *Use) rating(it *Item) float64 {
	n := u.Limit
	if it.Rating != nil && (n == 0 || float64(it.Rating.Force) < n) {
		n = float64(it.Rating.Force)
	}
	return n
}

// asks says why a use asks for quarantine; empty: it does not. What may have
// been borne counts, not only what was likeliest.
func (u *Use) asks(it *Item) string {
	var why []string
	bore := "it bore " + kN(u.Peak)
	if u.AtLeast {
		bore += " at least"
	}
	past := func(limit float64, what string) bool {
		switch {
		case limit == 0 || u.Unseen:
			return false
		case u.Peak > limit:
			why = append(why, fmt.Sprintf("%s, past its %s of %s", bore, what, kN(limit)))
		case u.Peak+u.U95 > limit:
			why = append(why, fmt.Sprintf("%s, give or take %s: that may be past its %s of %s", bore, kN(u.U95), what, kN(limit)))
		default:
			return false
		}
		return true
	}
	capacity, overload := it.cell()
	switch {
	case past(overload, "safe overload"), past(capacity, "capacity"):
	case past(it.force("proof_load"), "proof load"), past(u.rating(it), "rating"):
	}
	if u.Shocks > 0 {
		why = append(why, "the lift had a shock")
	}
	if len(why) == 0 {
		return ""
	}
	return fmt.Sprintf("%s, %s: %s", u.On, u.Lift, strings.Join(why, "; "))
}

func kN(n float64) string { return fmt.Sprintf("%.4g kN", n/1000) }

// addSwings adds classes up; other classes of range stay apart, since a range
// says more than a class that it might be moved to.
func addSwings(a, b []Swings) []Swings {
	out := slices.Clone(a)
	for _, s := range b {
		if k := slices.IndexFunc(out, func(o Swings) bool { return o.From == s.From && o.To == s.To }); k >= 0 {
			out[k].Count += s.Count
		} else {
			out = append(out, s)
		}
	}
	slices.SortFunc(out, func(a, b Swings) int { return cmp.Or(cmp.Compare(a.From, b.From), cmp.Compare(a.To, b.To)) })
	return out
}

// force reads a fact that is a rating, N; 0 where it is not there or cannot be
// read.
func (it *Item) force(fact string) float64 {
	r, err := quantity.ParseRating(it.Facts[fact])
	if err != nil {
		return 0
	}
	return float64(r.Force)
}

// cell gives capacity and safe overload of a load cell, N; 0 where they are not
// known, and for what is none.
func (it *Item) cell() (capacity, overload float64) {
	if !it.measures() {
		return 0, 0
	}
	capacity = it.force("capacity")
	if capacity == 0 && it.Rating != nil {
		capacity = float64(it.Rating.Force)
	}
	if s := it.Facts["safe_overload"]; s != "" && capacity > 0 {
		if n, err := gear.ParseOverload(s, quantity.Force(capacity)); err == nil {
			overload = float64(n)
		}
	}
	return capacity, overload
}

// Standing judges a load cell on a day by its history; ok is false for what is
// none.
func (it *Item) Standing(on Date) (s metrology.Standing, ok bool) {
	if !it.measures() {
		return s, false
	}
	l := &it.Life
	w := metrology.Wear{On: on.time(), Peak: l.Strain, ZeroChecked: l.ZeroChecked, Examined: l.Looked}
	w.Capacity, w.SafeOverload = it.cell()
	if w.SafeOverload > 0 && l.Peak > w.SafeOverload {
		w.Peak = l.Peak
	}
	if w.Capacity == 0 {
		w.Capacity = math.Inf(1)
	}
	if it.CalibrateBy != "" {
		w.Due = it.CalibrateBy.time()
	}
	if o := l.Override; o != nil && on <= o.Until {
		w.Override = &metrology.Override{By: o.By, Why: o.Why}
	}
	return w.Standing(), true
}

// Widening is by how much the readings of a load cell may be off because it is
// used past its calibration, a hard limit, share of the reading; 0 while nobody
// overrides.
func (it *Item) Widening(on Date) float64 {
	s, ok := it.Standing(on)
	if !ok || s.Use != metrology.Overridden {
		return 0
	}
	since := on.time().Sub(it.Calibrated.time())
	return math.Sqrt(3) * metrology.SinceCalibration(1, it.Life.Override.PerYear, since).U
}

func (c Confirming) check(it *Item, s Stamp) error {
	if it.Life.Proposed == "" {
		return unasked(it)
	}
	if s.By == "" {
		return fault.New(fault.Missing, "nobody is named").In(it.Serial).Fix("say who decides it")
	}
	if f := text(c.Reason, maxText); f != nil {
		return f.In("reason")
	}
	return nil
}

func (c Confirming) apply(it *Item, s Stamp) {
	reason := it.Life.Proposed
	if c.Reason != "" {
		reason += "; " + c.Reason
	}
	it.turn(Quarantined, reason, s.By, s.Day)
	it.Life.Proposed, it.Life.ProposedOn = "", ""
}

func (c Refusing) check(it *Item, s Stamp) error {
	if it.Life.Proposed == "" {
		return unasked(it)
	}
	return decided(it, c.Reason, s)
}

func (c Refusing) apply(it *Item, _ Stamp) { it.Life.Proposed, it.Life.ProposedOn = "", "" }

func unasked(it *Item) error {
	return fault.New(fault.Disagree, "no lift asks for its quarantine").In(it.Serial).Fix("hold it back with quarantine")
}

func (c ZeroCheck) check(it *Item, s Stamp) error {
	switch {
	case !it.measures():
		return fault.New(fault.Disagree, "it is no load cell").In(it.Serial)
	case c.Found == "":
		return fault.New(fault.Missing, "what it read unloaded is not said").In(it.Serial).Fix("write it with its unit")
	}
	return decided(it, c.Found, s)
}

// apply: a zero that is not its zero clears nothing and holds the cell back.
func (c ZeroCheck) apply(it *Item, s Stamp) {
	if !c.Good {
		it.Life.ZeroChecked = false
		if it.Status == InService {
			it.turn(Quarantined, "its zero is off: "+c.Found, s.By, s.Day)
		}
		return
	}
	it.Life.ZeroChecked = true
	it.clear()
}

// clear forgets a strain once zero and cell were looked at.
func (it *Item) clear() {
	if l := &it.Life; l.ZeroChecked && l.Looked {
		l.Strain, l.StrainOn, l.ZeroChecked, l.Looked = 0, "", false, false
	}
}

// looked notes an examination or a calibration since a strain; a calibration
// begins with the zero.
func (it *Item) looked(on Date, zero bool) {
	l := &it.Life
	if l.Strain == 0 || on < l.StrainOn {
		return
	}
	if zero {
		l.ZeroChecked = true
	} else {
		l.Looked = true
	}
	it.clear()
}

func (c Overriding) check(it *Item, s Stamp) error {
	use, cell := it.Standing(s.Day)
	switch {
	case !cell:
		return fault.New(fault.Disagree, "it is no load cell").In(it.Serial)
	case use.Use == metrology.Held || use.Use == metrology.Out:
		return fault.New(fault.Disagree, "%s", use.Why).In(it.Serial).Fix("no override reaches that")
	case it.Calibrated == "":
		return fault.New(fault.Missing, "no calibration is on record, so nothing says how far it may have drifted").In(it.Serial).Fix("have it calibrated")
	case c.Until < s.Day || s.Day.Until(c.Until) > longestOverride:
		return fault.New(fault.Range, "an override until %s", c.Until).In(it.Serial).Fix("it may hold for %d days at most", longestOverride)
	case !(c.PerYear > 0) || c.PerYear > 0.2:
		return fault.New(fault.Range, "a drift of %g a year", c.PerYear).In(it.Serial).Fix("say how fast it may drift, above 0 and up to 0.2 of the reading a year; its certificates show it: calibrate")
	}
	return decided(it, c.Why, s)
}

func (c Overriding) apply(it *Item, s Stamp) {
	it.Life.Override = &Override{By: s.By, Why: c.Why, Until: c.Until, PerYear: c.PerYear}
}

// Recorded is what uses come to in a register.
type Recorded struct {
	Entries []Entry
	Had     []string // serials whose history has the recording
	Unknown []string // serials that the register does not know, or whose item is scrapped
}

// Record makes of uses what a register has to write, once for each recording and
// item. Whoever writes it and is too late, because somebody else did meanwhile,
// is told by the store.
func Record(ctx context.Context, st Store, uses map[string]Use, s Stamp, at time.Time) (r Recorded, err error) {
	keys := make([]string, 0, len(uses))
	for serial := range uses {
		keys = append(keys, serial)
	}
	slices.Sort(keys)
	items, err := st.Items(ctx, keys)
	if err != nil {
		return r, err
	}
	for _, serial := range keys {
		it, ok := items[Key(serial)]
		if !ok || it.Status == Scrapped {
			r.Unknown = append(r.Unknown, serial)
			continue
		}
		events, err := st.History(ctx, serial)
		if err != nil {
			return r, err
		}
		u := uses[serial]
		if had, err := used(events, u.Recording); err != nil {
			return r, err
		} else if had {
			r.Had = append(r.Had, serial)
			continue
		}
		e, err := it.Next(Using{u}, s, at)
		if err != nil {
			return r, err
		}
		r.Entries = append(r.Entries, e)
	}
	return r, nil
}

// used tells whether a recording stands in a history.
func used(events []Event, recording string) (bool, error) {
	for i := range events {
		if events[i].Name != nameOf(Using{}) {
			continue
		}
		c, err := events[i].Change()
		if err != nil {
			return false, err
		}
		if u, ok := c.(Using); ok && u.Use.Recording == recording {
			return true, nil
		}
	}
	return false, nil
}
