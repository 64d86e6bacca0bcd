package infer

import (
	"math"
	"slices"
)

// explanation is one way in which a lift may differ from its plan. A nil one
// is the lift as planned.
type explanation struct {
	cause string
	index []int // of legs or cells that it is about
	prior float64
	to    []int     // what is read on channel i is of cell to[i]; nil: of its own
	by    []float64 // factor that channel i reads too much; nil: 1
	add   func(x *fit, r row) float64
	cols  []column
	side  float64 // sign that the first column must have; 0: any
	hangs bool    // its readings follow its columns only nearly
	say   float64 // a number for the sentence about it
	sign  bool    // time shows it, not what is read at rest
}

// column is a parameter that an explanation sets free.
type column struct {
	sd    float64
	param int // of the model; -1: none
	level int // level direction of the load's centre; -1: none
	tips  int // 1 or 2: slope along x or y of a load that is put down, rad; 0: none
	of    func(x *fit, r row) float64
}

func widened(param int, sd float64) column { return column{sd: sd, param: param, level: -1} }

func added(sd float64, of func(x *fit, r row) float64) column {
	return column{sd: sd, param: -1, level: -1, of: of}
}

// load tells whether the column is of the load's weight or centre, which are
// free anyway when it is weighed.
func (c *column) load() bool { return c.param == atMass || c.level >= 0 }

// lengthens tells whether the explanation is about a leg's length.
func (h *explanation) lengthens() bool {
	return h != nil && (h.cause == "leg_length" || h.cause == "leg_slack")
}

// withoutLoad is the explanation for weighing.
func (h *explanation) withoutLoad() *explanation {
	if h == nil || !slices.ContainsFunc(h.cols, func(c column) bool { return c.load() }) {
		return h
	}
	w := *h
	w.side = 0
	w.cols = slices.DeleteFunc(slices.Clone(h.cols), func(c column) bool { return c.load() })
	return &w
}

// undo takes what the explanation makes of the readings back out of them, and
// gives the logarithm of what that does to a density.
func (h *explanation) undo(x *fit) (y []float64, jac float64) {
	if h == nil || h.to == nil && h.by == nil && h.add == nil {
		return x.y, 0
	}
	y = slices.Clone(x.y)
	if h.to != nil {
		for _, r := range x.rows {
			if k := x.find(r.window, h.to[r.cell]); k >= 0 {
				y[k] = x.y[r.at]
			}
		}
	}
	for _, r := range x.rows {
		if h.by != nil {
			y[r.at] /= h.by[r.cell]
		}
		if h.add != nil {
			y[r.at] -= h.add(x, r)
		}
	}
	// What a factor does to a density counts once for a cell: the windows of
	// one have their errors in common.
	for i, f := range h.by {
		if x.bears(i) {
			jac -= math.Log(math.Abs(f))
		}
	}
	return y, jac
}

// find is the place of a cell's reading in a window; -1 without.
func (x *fit) find(window, cell int) int {
	i, ok := slices.BinarySearchFunc(x.rows, row{window: window, cell: cell}, func(a, b row) int {
		if a.window != b.window {
			return a.window - b.window
		}
		return a.cell - b.cell
	})
	if !ok {
		return -1
	}
	return x.rows[i].at
}

// columns are what the free parameters do to the readings, each times its
// standard deviation.
func (h *explanation) columns(s *system) [][]float64 {
	if h == nil {
		return nil
	}
	out := make([][]float64, len(h.cols))
	for i := range h.cols {
		c := &h.cols[i]
		out[i] = make([]float64, len(s.x.y))
		for _, r := range s.x.rows {
			v := 0.0
			switch {
			case c.of != nil:
				v = c.of(s.x, r)
			case c.tips > 0:
				if f := s.feet[r.window]; f != nil && s.x.stage[r.window] == Landed {
					v = f.lean[c.tips-1][r.cell]
				}
			case s.feet[r.window] != nil:
				if c.param > atZ {
					v = s.feet[r.window].slope[r.cell][c.param]
				}
			case s.x.stage[r.window] != Hold:
			case c.level >= 0:
				for k := range 3 {
					v += s.p.slope[r.cell][atX+k] * s.x.m.wide[c.level][k]
				}
			default:
				v = s.p.slope[r.cell][c.param]
			}
			out[i][r.at] = v * c.sd
		}
	}
	return out
}

// widen adds the free parameters to those of the plan.
func (h *explanation) widen(s *system, beta, theta []float64) {
	if h == nil {
		return
	}
	for i := range h.cols {
		c := &h.cols[i]
		switch {
		case c.of != nil || c.tips > 0:
		case c.level >= 0:
			for k := range 3 {
				theta[atX+k] += c.sd * beta[i] * s.x.m.wide[c.level][k]
			}
		default:
			theta[c.param] += c.sd * beta[i]
		}
	}
}

// What goes wrong how often, to begin with: the share of lifts in which a
// cause is at work (common practice, no source). What one lift can have in
// several ways (one leg of four, one cell of four) is divided among them.
var odds = map[string]float64{
	"as_planned":       0.60,
	"heavier":          0.05,
	"lighter":          0.04,
	"cg_off":           0.05,
	"leg_length":       0.05, // leg_slack with it
	"channels_swapped": 0.03,
	"zero_drift":       0.02,
	"not_tared":        0.03,
	"tared_under_load": 0.02,
	"wrong_unit":       0.04,
	"held_down":        0.03,
	"broke_free":       0.02,
	"channel_frozen":   0.02,
	"channel_lost":     0.02,
	"shock":            0.02,
	"swing":            0.02,
	"gust":             0.02,
	"edge_landing":     0.02,
	"cannot_tell":      0.05, // of lifts not proved free: the ground still carries
	"none":             0.01, // something that is not in this list
}

// How far the figures that an explanation sets free may lie from the plan,
// standard deviations (common practice, no source).
const (
	farCentre = 0.12 // of how far the lugs are apart

	// tareShares: how the legs share what was pressed away differs from how
	// they share the load, as a share of a leg's part.
	tareShares = 0.15
)

// farMass is how far the load may be off, as a share: little, or much.
var farMass = []float64{0.08, 0.25}

// farLength is how far a leg may be off, as a share, and how often: a shackle,
// or a sling of another length.
var farLength = []struct{ far, often float64 }{{0.008, 0.75}, {0.05, 0.25}}

// driftSizes are the orders of size of a zero that runs away, shares of the
// greater of planned reading and half the capacity.
var driftSizes = []float64{0.01, 0.08}

// edgeSizes are the orders of size of what a load that stands on an edge does to
// a cell, shares of its part of the load.
var edgeSizes = []float64{0.08, 0.3}

// tips is how far a load leans that comes down on an edge, standard deviation,
// rad, and tipsBy what its cells read beside what that makes of them, a share of
// their part of the load.
const tips, tipsBy = 0.06, 0.06

// tareSizes are the orders of size of what was pressed away, shares of the
// load.
var tareSizes = []float64{0.02, 0.1, 0.5}

// units are the factors between what is sent in one unit and read as another
// (exact definitions: 1 lb = 0.45359237 kg, a short ton 2000 lb, a long ton
// 2240 lb, standard gravity 9.80665 m/s²), with how likely each is beside the
// others (common practice, no source).
var units = []struct {
	factor float64
	often  float64
	what   string
}{
	{1 / 0.45359237, 4, "pounds read as kilograms"},
	{0.45359237, 4, "kilograms read as pounds"},
	{1 / 0.90718474, 4, "short tons read as tonnes"},
	{0.90718474, 4, "tonnes read as short tons"},
	{1 / 1.0160469088, 2, "long tons read as tonnes"},
	{1.0160469088, 2, "tonnes read as long tons"},
	{1.12, 1, "long tons read as short tons"}, // 2240 over 2000
	{1 / 1.12, 1, "short tons read as long tons"},
	{9.80665, 4, "kilonewtons read as tonnes"},
	{1 / 9.80665, 4, "tonnes read as kilonewtons"},
	{10 / 9.80665, 1, "tonnes read as tens of kilonewtons"},
	{9.80665 / 10, 1, "tens of kilonewtons read as tonnes"},
	{10, 1, "a decimal point one place off"},
	{0.1, 1, "a decimal point one place off"},
	{4.4482216152605, 1, "pounds-force read as newtons"}, // 0.45359237 × 9.80665
	{1 / 4.4482216152605, 1, "newtons read as pounds-force"},
	{1000, 1, "kilo left out"},
	{0.001, 1, "kilo counted twice"},
}

// bank lists the explanations of what the cells read at rest.
func (m *Model) bank(x *fit, c *Course) []*explanation {
	mass := m.mean[atMass]
	all := []*explanation{
		{cause: "as_planned", prior: odds["as_planned"]},
	}
	add := func(h *explanation) { all = append(all, h) }
	for _, far := range farMass {
		share := 1 / float64(len(farMass))
		add(&explanation{cause: "heavier", prior: odds["heavier"] * share, cols: []column{widened(atMass, far*mass)}, side: 1, hangs: true})
		add(&explanation{cause: "lighter", prior: odds["lighter"] * share, cols: []column{widened(atMass, far*mass)}, side: -1, hangs: true})
	}
	var centre []column
	for d, seen := range m.seen {
		if seen {
			centre = append(centre, column{sd: farCentre * m.span, param: -1, level: d})
		}
	}
	if len(centre) > 0 {
		add(&explanation{cause: "cg_off", prior: odds["cg_off"], cols: centre, hangs: true})
	}
	if len(m.legs) > 1 {
		for i := range m.legs {
			p := m.legs[i].length
			if p < 0 {
				continue
			}
			for _, l := range farLength {
				add(&explanation{
					cause: "leg_length", index: []int{i}, prior: odds["leg_length"] * l.often / float64(len(m.legs)),
					cols: []column{widened(p, l.far*m.mean[p])}, hangs: true,
				})
			}
		}
	}
	if !x.unproved {
		m.landings(x, add)
	}
	m.swaps(x, add)
	m.drifts(x, add)
	m.tares(x, c, add)
	if x.holds() {
		m.mistaken(x, add)
	}
	if x.unproved && x.holds() {
		for _, h := range all {
			h.prior *= shy
		}
		m.unproved(c, centre, add)
	}
	return all
}

// unproved adds what may be where nothing shows that the load is free: it is
// held, at its middle or aside of it, or the ground still carries. Every other
// explanation has it that the load was free and did not show it, which is rare.
func (m *Model) unproved(c *Course, centre []column, add func(*explanation)) {
	mass := m.mean[atMass]
	for _, far := range farMass {
		for _, aside := range [][]column{nil, centre} {
			add(&explanation{
				cause: "held_down", prior: odds["held_down"] / float64(2*len(farMass)), side: 1, hangs: true,
				cols: append([]column{widened(atMass, far*mass)}, aside...),
			})
		}
	}
	p := odds["cannot_tell"]
	if !c.Done {
		p *= 4
	}
	add(&explanation{
		cause: "cannot_tell", prior: p, side: -1, hangs: true,
		cols: append([]column{widened(atMass, 0.5*mass)}, centre...),
	})
}

// shy is how often a load that is free does not show it.
const shy = 0.1

// landings are the ways in which a load comes down on one edge: the legs share
// what is left otherwise than on even ground; or a hold was none, the edge
// touched already.
func (m *Model) landings(x *fit, add func(*explanation)) {
	var landed, holds []int
	for _, w := range x.windows() {
		switch x.stage[w] {
		case Landed:
			landed = append(landed, w)
		case Hold:
			holds = append(holds, w)
		}
	}
	free := func(in func(window int) bool, size float64) (cols []column) {
		for i := range m.cells {
			cols = append(cols, added(size*m.weightN/float64(len(m.cells)), func(_ *fit, r row) float64 { return one(in(r.window) && r.cell == i) }))
		}
		return cols
	}
	if len(landed) > 0 {
		// It leans on the edge, alike in all windows; or, where that is no more
		// than nearly so, the cells read anything.
		p := odds["edge_landing"] / 2
		down := func(w int) bool { return x.stage[w] == Landed }
		add(&explanation{cause: "edge_landing", prior: 0.7 * p, cols: append(free(down, tipsBy),
			column{sd: tips, param: -1, level: -1, tips: 1}, column{sd: tips, param: -1, level: -1, tips: 2})})
		for _, size := range edgeSizes {
			h := &explanation{cause: "edge_landing", prior: 0.3 * p / float64(len(edgeSizes))}
			for _, w := range landed {
				h.cols = append(h.cols, free(func(v int) bool { return v == w }, size)...)
			}
			add(h)
		}
	}
	for _, w := range holds[min(1, len(holds)):] {
		add(&explanation{cause: "edge_landing", prior: odds["edge_landing"] / 2 / float64(len(holds)), cols: free(func(v int) bool { return v == w }, 0.1)})
	}
}

func one(b bool) float64 {
	if b {
		return 1
	}
	return 0
}

// drifts are the ways in which the zero of one cell can run away: from some
// window on, all at once or in two parts.
func (m *Model) drifts(x *fit, add func(*explanation)) {
	n := len(m.cells)
	from := x.windows()
	share := odds["zero_drift"] / float64(n*len(from)*len(driftSizes))
	for i := range n {
		whole := math.Max(math.Abs(m.cells[i].NominalN), m.cells[i].capacity/2)
		for k, w := range from {
			for _, size := range driftSizes {
				h := &explanation{cause: "zero_drift", index: []int{i}, prior: share}
				h.cols = append(h.cols, added(size*whole, func(_ *fit, r row) float64 { return one(r.cell == i && r.window >= w) }))
				if k+1 < len(from) {
					next := from[k+1]
					h.cols = append(h.cols, added(size*whole, func(_ *fit, r row) float64 { return one(r.cell == i && r.window >= next) }))
				}
				add(h)
			}
		}
	}
}

// bears tells whether a cell was read in any hold.
func (x *fit) bears(cell int) bool {
	return slices.ContainsFunc(x.rows, func(r row) bool { return r.cell == cell && x.stage[r.window] == Hold })
}

// windows lists the windows that have rows.
func (x *fit) windows() []int {
	var out []int
	for w := range x.stage {
		if slices.ContainsFunc(x.rows, func(r row) bool { return r.window == w }) {
			out = append(out, w)
		}
	}
	return out
}

// swaps are the ways in which channels can stand for each other's cells.
func (m *Model) swaps(x *fit, add func(*explanation)) {
	n := len(m.cells)
	// A channel that is missing in some hold cannot be moved to another's place.
	count := make([]int, n)
	for _, r := range x.rows {
		if x.stage[r.window] == Hold {
			count[r.cell]++
		}
	}
	var pairs, more [][]int
	for i := range n {
		for j := range i {
			to := identity(n)
			to[i], to[j] = j, i
			pairs = append(pairs, to)
		}
	}
	if n >= 3 && n <= 4 {
		permute(identity(n), 0, func(to []int) {
			moved := 0
			for i := range to {
				if to[i] != i {
					moved++
				}
			}
			if moved > 2 {
				more = append(more, slices.Clone(to))
			}
		})
	}
	put := func(list [][]int, share float64) {
		for _, to := range list {
			var moved []int
			whole := true
			for i := range to {
				if to[i] != i {
					moved = append(moved, i)
					whole = whole && count[i] == count[to[i]]
				}
			}
			if whole {
				add(&explanation{cause: "channels_swapped", index: moved, to: to, prior: odds["channels_swapped"] * share / float64(len(list))})
			}
		}
	}
	if len(more) == 0 {
		put(pairs, 1)
		return
	}
	put(pairs, 0.8)
	put(more, 0.2)
}

func identity(n int) []int {
	out := make([]int, n)
	for i := range out {
		out[i] = i
	}
	return out
}

// permute calls f with every order of a from place k on.
func permute(a []int, k int, f func([]int)) {
	if k == len(a) {
		f(a)
		return
	}
	for i := k; i < len(a); i++ {
		a[k], a[i] = a[i], a[k]
		permute(a, k+1, f)
		a[k], a[i] = a[i], a[k]
	}
}

// tares are the ways in which a zero can be wrong that is the same in all
// cells: never taken, or taken under load.
func (m *Model) tares(x *fit, c *Course, add func(*explanation)) {
	n := len(m.cells)
	zeroed := 0
	for i := range m.cells {
		if m.cells[i].Cell.Zero != 0 {
			zeroed++
		}
	}
	if zeroed > 0 {
		share := 1.0
		if zeroed > 1 {
			share = 0.8
			for i := range m.cells {
				if m.cells[i].Cell.Zero == 0 {
					continue
				}
				add(&explanation{cause: "not_tared", index: []int{i}, prior: odds["not_tared"] * 0.2 / float64(zeroed), add: func(_ *fit, r row) float64 {
					return one(r.cell == i) * m.cells[r.cell].Cell.Zero
				}})
			}
		}
		add(&explanation{cause: "not_tared", prior: odds["not_tared"] * share, add: func(_ *fit, r row) float64 { return m.cells[r.cell].Cell.Zero }})
	}
	// A tare that the watch knows of is as much as it took.
	for _, t := range c.Tares {
		if len(t.OffN) != n {
			continue
		}
		p := odds["tared_under_load"]
		if t.Insisted {
			p = 0.5
		}
		add(&explanation{cause: "tared_under_load", prior: p, add: func(_ *fit, r row) float64 {
			w := &c.Windows[r.window]
			return -one(w.FromS >= t.AtS) * t.OffN[r.cell]
		}})
	}
	// One that it does not know of took what hung there: in all cells alike, or
	// nearly.
	whole := 0.0
	for i := range m.cells {
		whole += m.cells[i].NominalN
	}
	from := x.windows()
	for len(from) > 0 && x.stage[from[len(from)-1]] != Hold {
		from = from[:len(from)-1] // after the last hold nothing hangs any more
	}
	for _, w := range from {
		for _, size := range tareSizes {
			h := &explanation{cause: "tared_under_load", prior: odds["tared_under_load"] / float64(len(from)*len(tareSizes)), side: 1}
			h.cols = append(h.cols, added(size*whole, func(_ *fit, r row) float64 {
				return -one(r.window >= w) * m.cells[r.cell].NominalN / whole
			}))
			if n > 1 {
				for i := range n {
					h.cols = append(h.cols, added(tareShares*size*whole/float64(n), func(_ *fit, r row) float64 { return one(r.window >= w && r.cell == i) }))
				}
			}
			add(h)
		}
	}
}

// mistaken are the ways in which a unit can be taken for another: in one cell,
// or in all.
func (m *Model) mistaken(x *fit, add func(*explanation)) {
	n := len(m.cells)
	often := 0.0
	for _, u := range units {
		often += u.often
	}
	for k, u := range units {
		p := odds["wrong_unit"] * u.often / often
		by := func(is func(int) bool) []float64 {
			out := make([]float64, n)
			for i := range out {
				if out[i] = 1; is(i) {
					out[i] = u.factor
				}
			}
			return out
		}
		if n > 1 {
			p /= 2
			for i := range n {
				if !x.bears(i) {
					continue
				}
				add(&explanation{cause: "wrong_unit", index: []int{i}, prior: p / float64(n), by: by(func(j int) bool { return j == i }), say: float64(k)})
			}
		}
		add(&explanation{cause: "wrong_unit", prior: p, by: by(func(int) bool { return true }), say: float64(k)})
	}
}
