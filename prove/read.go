package prove

import (
	"crypto/sha256"
	_ "embed"
	"encoding/hex"
	"math"
	"regexp"
	"slices"
	"sync"

	"plumbhook/fault"
	"plumbhook/gear"
	"plumbhook/keyed"
	"plumbhook/metrology"
	"plumbhook/quantity"
)

// Bounds of a test. A reading every second is slow for a load cell; with ten
// seconds between two of them nobody knows what the force did (common practice, no
// source).
const (
	mostPieces = 40
	mostMoves  = 12
	usualGap   = 2.0
	mostGap    = 10.0
	mostHold   = 7 * 24 * 3600.0
)

// Read reads a test file. name is used in messages only. The error is a fault.List
// of every mistake, in the order of the file; the test is nil then.
func Read(name string, data []byte) (*Test, error) {
	sum := sha256.Sum256(data)
	r := &reader{keyed.Reader{File: name}, &Test{File: name, SHA256: hex.EncodeToString(sum[:]), Gap: usualGap}}
	root := r.Parse(data)
	if root == nil || !r.Keys(root, "a proof test", Shape().Names("")...) {
		return nil, r.Err()
	}
	r.test(root)
	if err := r.Err(); err != nil {
		return nil, err
	}
	return r.t, nil
}

type reader struct {
	keyed.Reader
	t *Test
}

//go:embed keys.csv
var keysCSV string

// Shape is what a test file may hold.
func Shape() *keyed.Shape { return shape() }

var shape = sync.OnceValue(func() *keyed.Shape { return keyed.NewShape(keysCSV) })

// rating is a force above zero under a key, zero when there is none.
func (r *reader) rating(n *keyed.Node, key, need string) float64 {
	if it := r.Text(n, key, need); it != nil {
		return r.Rating(it)
	}
	return 0
}

// above is one figure above zero under a key, zero when there is none.
func above[Q quantity.Quantity](r *reader, n *keyed.Node, key, need string) float64 {
	it := r.Text(n, key, need)
	if it == nil {
		return 0
	}
	before := len(r.Faults)
	v := keyed.Exact[Q](&r.Reader, it)
	if v <= 0 && len(r.Faults) == before {
		r.Fault(it, fault.Range, "%s is above zero", key)
	}
	return v
}

// measured is a figure with its spread under a key, nil when there is none.
func measured[Q quantity.Quantity](r *reader, n *keyed.Node, key, need string) *quantity.Measured[Q] {
	it := r.Text(n, key, need)
	if it == nil {
		return nil
	}
	m := keyed.Measured[Q](&r.Reader, it)
	return &m
}

// part is a share of the load, from none to less than all of it.
func (r *reader) part(n *keyed.Node, key, need string) float64 {
	it := r.Text(n, key, need)
	if it == nil {
		return 0
	}
	v := keyed.Exact[quantity.Ratio](&r.Reader, it)
	if v < 0 || v >= 1 {
		r.Fault(it, fault.Range, "%s lies between 0 and 100 %% of the test load", key)
	}
	return v
}

var perTime = regexp.MustCompile(`^(.*) per (s|min)$`)

func (r *reader) test(root *keyed.Node) {
	t := r.t
	r.Choice(root, "plumbhook-proof", "write plumbhook-proof: 1, the version of the file", "1")
	t.Title, t.Revision, t.Place = r.Plain(root, "title", ""), r.Plain(root, "revision", ""), r.Plain(root, "place", "")
	t.Date = r.Date(root, "date", "write date: the day of the test, as 2026-11-20")
	if name := r.Choice(root, "rule", "write rule: what the test is made under", ruleNames()...); name != "" {
		all := rules()
		t.Rule = &all[slices.IndexFunc(all, func(r Rule) bool { return r.Name == name })]
	}
	kind := Proof
	if t.Rule != nil {
		kind = t.Rule.Kind
	}
	r.criterion(root, kind)
	r.item(root, kind)
	r.load(root, kind)
	r.course(root, kind)
	r.movement(root)
	r.decision(root)
	r.conditions(root)
	r.cell(root)
	r.gear(root)
	if n := root.Get("line"); n != nil && r.Keys(n, "a line", Shape().Names("line")...) {
		t.Line = &Line{above[quantity.Length](r, n, "length", "write length: of all that stretches"), above[quantity.Stiffness](r, n, "stiffness", "write stiffness: as 400 kN/m")}
	}
	t.Exclusion = above[quantity.Length](r, root, "exclusion", "")
	r.guy(root, kind)
}

func (r *reader) criterion(root *keyed.Node, kind Kind) {
	n := root.Get("criterion")
	switch {
	case n == nil && kind == Engineer:
		r.Fault(root, fault.Missing, "no text sets the load of this test: it needs an engineer's criterion").Fix("write criterion: {by: who, text: what must be seen}")
	case n != nil && r.Keys(n, "a criterion", "by", "text"):
		r.t.Criterion = &Criterion{r.Plain(n, "by", "write by: the engineer who answers for it"), r.Plain(n, "text", "")}
	}
}

func (r *reader) item(root *keyed.Node, kind Kind) {
	n := root.Get("item")
	if n == nil {
		r.Fault(root, fault.Missing, "the key item is missing").Fix("write item: {name: what is proved, rating: as 5 t, proof: the most its maker lets it be loaded with}")
		return
	}
	if !r.Keys(n, "an item", Shape().Names("item")...) {
		return
	}
	need := ""
	if kind == Proof {
		need = "write rating: the rule makes the test load from it"
	}
	r.t.Item = Item{r.Plain(n, "name", "write name: what is proved"), r.Plain(n, "serial", ""), r.rating(n, "rating", need), r.rating(n, "proof", "")}
	if i := r.t.Item; i.Proof > 0 && i.Proof < i.Rating {
		r.Fault(n.Get("proof"), fault.Disagree, "a maker's proof load below the rating").Fix("read both off the item or its certificate")
	}
}

func (r *reader) load(root *keyed.Node, kind Kind) {
	t := r.t
	need := map[Kind]string{Engineer: "write load: the test load that the engineer asks for", Pull: "write load: the pull that is expected; gear and cell are judged by it"}[kind]
	t.Load = r.rating(root, "load", need)
	needOver := "write over: how far above the test load the force may come, as 5 %"
	if kind == Pull || kind == Guy {
		needOver = ""
		for _, key := range []string{"under", "over", "dip", "drift"} {
			if n := root.Get(key); n != nil {
				r.Fault(n, fault.Unsupported, "this rule goes by a mean, without %s", key).Fix("leave it out")
			}
		}
		if n := root.Get("load"); n != nil && kind == Guy {
			r.Fault(n, fault.Unsupported, "the load of a guy is its design tension").Fix("write it under guy, as design")
		}
	}
	t.Over = r.part(root, "over", needOver)
	if t.Rule == nil {
		return
	}
	t.Under = t.Rule.Under
	if n := root.Get("under"); n != nil {
		if v := r.part(root, "under", ""); kind == Engineer {
			t.Under = v
		} else if v > t.Rule.Under {
			r.Fault(n, fault.Range, "the rule lets the force stay %.3g %% below the test load, no more", 100*t.Rule.Under).Fix("leave it out")
		} else {
			t.Under = v
		}
	}
}

// course is how the test goes.
func (r *reader) course(root *keyed.Node, kind Kind) {
	t := r.t
	least, need := 0.0, "write hold: how long; the rule sets no time"
	if t.Rule != nil {
		least = t.Rule.Hold
	}
	t.Hold = least
	if least > 0 {
		need = ""
	}
	if v := above[quantity.Duration](r, root, "hold", need); v > 0 {
		t.Hold = v
		if v < least || v > mostHold {
			r.Fault(root.Get("hold"), fault.Range, "a hold of %.6g s; the rule asks for %.6g s at least, and a week is the most", v, least)
		}
	}
	if v := above[quantity.Duration](r, root, "gap", ""); v > 0 {
		if t.Gap = v; v > mostGap {
			r.Fault(root.Get("gap"), fault.Range, "with %.3g s between two readings nobody knows what the force did", v).Fix("at most %.0f s", mostGap)
		}
	}
	if it := r.Text(root, "ramp", ""); it != nil {
		if m := perTime.FindStringSubmatch(it.Text); m == nil {
			r.Fault(it, fault.Syntax, "%s is no rate", keyed.Quote(it.Text)).Fix("write it as 2 kN per s or 5 t per min")
		} else {
			v, err := quantity.ParseRating(m[1])
			if err != nil {
				r.Adopt(it, err)
			}
			t.Ramp = float64(v.Force)
			if m[2] == "min" {
				t.Ramp /= 60
			}
		}
	}
	if kind == Proof || kind == Engineer {
		t.DipFails = r.Choice(root, "dip", "write dip: restart, if the hold begins anew after a dip, or fails", "restart", "fails") == "fails"
		t.Drift = r.part(root, "drift", "")
	}
}

func (r *reader) movement(root *keyed.Node) {
	n := root.Get("movement")
	switch {
	case n == nil:
		return
	case n.Kind != keyed.Table || len(n.Items) == 0:
		r.Fault(n, fault.Type, "movement is a map of gauges by name").Fix("write it as beam: {channel: D1, most: 3 mm}")
		return
	case len(n.Items) > mostMoves:
		r.Fault(n, fault.TooLarge, "%d gauges, the most is %d", len(n.Items), mostMoves)
		return
	}
	for _, it := range n.Items {
		if !r.Keys(it, "a gauge", Shape().Names("movement.*")...) {
			continue
		}
		m := Move{
			it.Name, r.Plain(it, "channel", "write channel: where its readings come"), above[quantity.Length](r, it, "accuracy", ""),
			above[quantity.Length](r, it, "most", ""), above[quantity.Length](r, it, "in_hold", ""), above[quantity.Length](r, it, "stays", ""), it.Pos,
		}
		if m.Most == 0 && m.InHold == 0 && m.Stays == 0 {
			r.Fault(it, fault.Missing, "nothing limits this movement").Fix("write most, in_hold or stays, as 2 mm")
		}
		if slices.ContainsFunc(r.t.Moves, func(o Move) bool { return o.Channel == m.Channel }) {
			r.Fault(it.Get("channel"), fault.Duplicate, "two gauges on channel %s", keyed.Quote(m.Channel))
		}
		r.t.Moves = append(r.t.Moves, m)
	}
}

func (r *reader) decision(root *keyed.Node) {
	by := r.Plain(root, "decision_by", "")
	if root.Get("decision") != nil {
		r.t.Simple = r.Choice(root, "decision", "", "guarded", "simple") == "simple"
	}
	switch {
	case r.t.Simple && by == "":
		r.Fault(root.Get("decision"), fault.Missing, "simple acceptance needs somebody who agreed to its risk").Fix("write decision_by: the contract and its clause")
	case !r.t.Simple && by != "":
		r.Fault(root.Get("decision_by"), fault.Disagree, "guarded acceptance needs nobody's word").Fix("leave it out, or write decision: simple")
	}
	r.t.SimpleBy = by
}

func (r *reader) conditions(root *keyed.Node) {
	n := root.Get("conditions")
	if n == nil || !r.Keys(n, "conditions", Shape().Names("conditions")...) {
		return
	}
	c := &r.t.Conditions
	c.Wind, c.Current = measured[quantity.Speed](r, n, "wind", ""), measured[quantity.Speed](r, n, "current", "")
	c.Depth, c.Line = measured[quantity.Length](r, n, "depth", ""), measured[quantity.Length](r, n, "line", "")
	c.Draught, c.Vessel = measured[quantity.Length](r, n, "draught", ""), measured[quantity.Length](r, n, "vessel", "")
	c.Temperature = measured[quantity.Temperature](r, n, "temperature", "")
	c.WindLimit, c.Sea = above[quantity.Speed](r, n, "wind_limit", ""), r.Plain(n, "sea", "")
}

func (r *reader) cell(root *keyed.Node) {
	n := root.Get("cell")
	if n == nil {
		r.Fault(root, fault.Missing, "the key cell is missing").Fix("write cell: {channel: PULL, capacity: 10 t, accuracy: 0.1 %% fs}")
		return
	}
	if !r.Keys(n, "a cell", Shape().Names("cell")...) {
		return
	}
	c := &r.t.Cell
	c.Channel, c.Serial = r.Plain(n, "channel", "write channel: where its readings come"), r.Plain(n, "serial", "")
	c.Accuracy.Capacity = r.rating(n, "capacity", "write capacity: the full scale of the cell")
	if c.Proof = r.rating(n, "safe_overload", ""); c.Proof > 0 && c.Proof < c.Accuracy.Capacity {
		r.Fault(n.Get("safe_overload"), fault.Disagree, "a safe overload below the capacity").Fix("read both off the cell")
	}
	accuracy, u := r.Text(n, "accuracy", ""), r.Text(n, "uncertainty", "")
	switch {
	case accuracy != nil && u == nil:
		v, full, err := gear.ParseAccuracy(accuracy.Text)
		if err != nil {
			r.Adopt(accuracy, err)
		}
		c.Accuracy.Limit, c.Accuracy.OfFullScale = v, full
	case accuracy == nil && u != nil:
		c.U95 = r.Rating(u)
	default:
		r.Fault(n, fault.Missing, "how well the cell reads is said once: by accuracy or by uncertainty").
			Fix("accuracy: as 0.1 %% fs; uncertainty: the 95 %% figure of its certificate, as 120 N")
	}
	if v := r.rating(n, "resolution", ""); v > 0 {
		c.Accuracy.Resolution = &v
	}
	c.Accuracy.Creep, c.Accuracy.ZeroReturn = gear.ReadShare(&r.Reader, n, "creep", false), gear.ReadShare(&r.Reader, n, "zero_return", true)
	c.Accuracy.ZeroPerK, c.Accuracy.SpanPerK = gear.ReadTemperatureEffect(&r.Reader, n, "temperature_effect")
	if t := r.t.Conditions.Temperature; t != nil {
		const calibratedAt = 273.15 + 20 // common practice, no source
		c.Conditions = metrology.ConditionsOver(float64(t.Low), float64(t.High), calibratedAt)
	}
	c.Calibrated, c.Due = r.Date(n, "calibrated", ""), r.Date(n, "due", "")
	if !c.Due.IsZero() && !c.Due.After(c.Calibrated) {
		r.Fault(n.Get("due"), fault.Range, "due before it was calibrated").Fix("look at both dates")
	}
	if c.Calibrated.After(r.t.Date) && !r.t.Date.IsZero() {
		r.Fault(n.Get("calibrated"), fault.Range, "calibrated after the day of the test").Fix("look at both dates")
	}
	c.DriftPerYear = gear.ReadShare(&r.Reader, n, "drift_per_year", false)
	if it := n.Get("override"); it != nil && r.Keys(it, "an override", "by", "why") {
		c.Override = &metrology.Override{By: r.Plain(it, "by", "write by: who lets it be used out of date"), Why: r.Plain(it, "why", "write why: the reason")}
		if c.DriftPerYear == nil || *c.DriftPerYear == 0 || c.Calibrated.IsZero() {
			r.Fault(it, fault.Missing, "an override widens the uncertainty by the drift since the calibration, which is not stated").
				Fix("write calibrated, and drift_per_year: as 0.1 %% of reading")
		}
	} else if it := n.Get("drift_per_year"); it != nil && c.Calibrated.IsZero() {
		r.Fault(it, fault.Missing, "drift counts from the day of the calibration, which is not stated").Fix("write calibrated: the day, as 2026-04-02")
	}
}

func (r *reader) gear(root *keyed.Node) {
	n := root.Get("gear")
	switch {
	case n == nil:
		r.Fault(root, fault.Missing, "the key gear is missing").Fix("list all that the force runs through: pins, shackles, slings, puller, strong point; each - {name: .., rating: .., proof: ..}")
		return
	case n.Kind != keyed.List || len(n.Items) == 0:
		r.Fault(n, fault.Type, "gear is a list").Fix("begin each with - name:")
		return
	case len(n.Items) > mostPieces:
		r.Fault(n, fault.TooLarge, "%d pieces, the most is %d", len(n.Items), mostPieces)
		return
	}
	for _, it := range n.Items {
		if !r.Keys(it, "a piece of gear", Shape().Names("gear[]")...) {
			continue
		}
		p := Piece{r.Plain(it, "name", "write name: what it is"), r.Plain(it, "serial", ""), r.rating(it, "rating", ""), r.rating(it, "proof", ""), it.Pos}
		if p.Proof > 0 && p.Proof < p.Rating {
			r.Fault(it.Get("proof"), fault.Disagree, "a maker's proof load below the rating").Fix("read both off the piece or its certificate")
		}
		r.t.Gear = append(r.t.Gear, p)
	}
}

func (r *reader) guy(root *keyed.Node, kind Kind) {
	n := root.Get("guy")
	switch {
	case kind != Guy && n != nil:
		r.Fault(n, fault.Disagree, "guy belongs to the rule guy tension")
		return
	case kind != Guy:
		return
	case n == nil:
		r.Fault(root, fault.Missing, "the key guy is missing").Fix("write guy: design, at, now, chord, slope, ea, mass, diameter")
		return
	case !r.Keys(n, "a guy", Shape().Names("guy")...):
		return
	}
	g := &GuyRope{
		Design:   r.rating(n, "design", "write design: the initial tension of the drawing"),
		Chord:    above[quantity.Length](r, n, "chord", "write chord: the distance from end to end"),
		EA:       r.rating(n, "ea", "write ea: modulus times area of the guy, as 9 MN"),
		Weight:   above[quantity.Mass](r, n, "mass", "write mass: of the whole guy") * float64(quantity.StandardGravity),
		Diameter: above[quantity.Length](r, n, "diameter", "write diameter: the tolerance hangs on it"),
		Breaking: r.rating(n, "breaking", ""),
	}
	if it := r.Text(n, "at", "write at: the temperature that the drawing gives the tension for"); it != nil {
		g.At = keyed.Exact[quantity.Temperature](&r.Reader, it)
	}
	if m := measured[quantity.Temperature](r, n, "now", "write now: the temperature of the guy, as 4 °C ± 2 °C"); m != nil {
		g.Now = *m
	}
	if it := r.Text(n, "slope", "write slope: of the guy, as 50 deg from horizontal"); it != nil {
		m := r.AngleFrom(it, "horizontal")
		if g.Slope = float64(m.Value); m.Shape != quantity.Exact || g.Slope < 0 || g.Slope >= math.Pi/2 {
			r.Fault(it, fault.Range, "a guy slopes between 0 and 90 deg from horizontal, one figure")
		}
	}
	if d := float64(g.Now.High) - g.At; g.Now.Value > 0 && g.At > 0 && (math.Abs(d) > 80 || math.Abs(float64(g.Now.Low)-g.At) > 80) {
		r.Fault(n.Get("now"), fault.Range, "more than 80 K from the temperature of the drawing").Fix("look at both units")
	}
	r.t.Guy = g
}
