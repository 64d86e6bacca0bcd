package draw

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"

	"plumbhook/fault"
	"plumbhook/lift"
)

// safety is printed on every sheet.
const safety = "This sheet informs a competent person; it does not release a lift and does not replace a crane's own indicator. " +
	"The tag on the gear, its maker's data, the local code and the appointed person govern."

// sheet is a page in the making.
type sheet struct {
	p         *Page
	h         *lift.Hung
	util, p95 map[string]float64
	t         tongue
	meta      Meta
	k         float64 // size of text and symbols' surroundings against A4
}

// Sheet draws a hung lift. util holds P95 force times dynamic factor over
// WLL by leg name, without an entry for a leg that has no rating; p95 holds
// the static P95 tension by leg name, N. A Meta with a unit or paper unknown
// here, and a pose with a coordinate that is no number, make a page whose
// writers return the fault.
func Sheet(h *lift.Hung, util, p95 map[string]float64, meta Meta) *Page {
	t, err := meta.tongue()
	p := &Page{w: t.w, h: t.h, title: clean(h.Lift.Title), err: err}
	if err != nil {
		return p
	}
	s := &sheet{p: p, h: h, util: util, p95: p95, t: t, meta: meta, k: min(t.w/297, 1.25)}
	if s.bounded(); p.err == nil {
		s.compose()
	}
	return p
}

// The pictures that Picture makes: the elevation, the one from a quarter turn
// beside it, and the plan.
const (
	Front  = "front"
	Beside = "side"
	Above  = "plan"
)

// picture is the size of a single picture, mm.
const pictureW, pictureH = 240, 180

// Picture draws one view of a hung lift alone, for a screen; the rest is as for
// Sheet.
func Picture(h *lift.Hung, util, p95 map[string]float64, meta Meta, name string) *Page {
	t, err := meta.tongue()
	if t.w, t.h = meta.Size[0], meta.Size[1]; t.w*t.h <= 0 {
		t.w, t.h = pictureW, pictureH
	}
	p := &Page{w: t.w, h: t.h, title: clean(h.Lift.Title), err: err}
	turn, said := facing(h)
	views := map[string]view{
		Front:  {"elevation", "Elevation, " + said, look(turn, 0), [4]float64{25, 16, 27, strip + 12}},
		Beside: {"elevation", "From the side", look(turn+math.Pi/2, 0), [4]float64{25, 16, 27, strip + 12}},
		Above:  {"plan", "Plan", look(turn, math.Pi/2), [4]float64{12, 11, 12, strip + 10}},
	}
	w, ok := views[name]
	if p.err == nil && !ok {
		p.err = fault.New(fault.Reference, "there is no view %q", name).In("view").Fix("ask for %s, %s or %s", Front, Beside, Above)
	}
	s := &sheet{p: p, h: h, util: util, p95: p95, t: t, meta: meta, k: 1}
	s.bounded()
	if p.err == nil {
		s.view(w, rect{0, 0, t.w, t.h})
	}
	return p
}

// bounded refuses a pose that is not one.
func (s *sheet) bounded() {
	for _, q := range s.extent() {
		if l := norm(q); !(l < 1e7) {
			s.p.err = fault.New(fault.Internal, "the pose has a point at %v", q).Fix("hang the lift again before drawing it")
		}
	}
}

// view is one of the pictures to make; margin is left, top, right, bottom, for dimensions,
// symbols and the foot.
type view struct {
	name, title string
	cam         camera
	margin      [4]float64
}

// compose lays the sheet out. Of a few arrangements of the three views the
// one with the largest scales wins, the elevation counting thrice.
func (s *sheet) compose() {
	k := s.k
	frame := rect{7, 7, s.t.w - 7, s.t.h - 7}
	head := rect{frame.x0, frame.y0, frame.x1, frame.y0 + 13*k}
	foot := rect{frame.x0, frame.y1 - 25*k, frame.x1, frame.y1}
	main := rect{frame.x0, head.y1, frame.x1, foot.y0}
	turn, said := facing(s.h)
	views := [3]view{
		{"elevation", "Elevation, " + said, look(turn, 0), [4]float64{25, 16, 27, strip + 12}},
		{"plan", "Plan", look(turn, math.Pi/2), [4]float64{12, 11, 12, strip + 10}},
		{"pictorial", "Pictorial, foreshortened", look(turn+35*math.Pi/180, 25*math.Pi/180), [4]float64{10, 16, 12, strip + 3}},
	}
	best := math.Inf(-1)
	var panes [3]rect
	var tab table
	var under rect // the table's place
	for _, split := range []float64{0.46, 0.54} {
		x := main.x0 + main.w()*split
		t := s.newTable(main.x1-x, main.h()*0.5)
		u := rect{x, main.y1 - t.h, main.x1, main.y1}
		midX := (x + main.x1) / 2
		left := rect{main.x0, main.y0, x, main.y1}
		tries := [][3]rect{{left, {x, main.y0, midX, u.y0}, {midX, main.y0, main.x1, u.y0}}}
		for _, part := range []float64{0.5, 0.42, 0.36} {
			y := main.y0 + (u.y0-main.y0)*part
			tries = append(tries, [3]rect{left, {x, main.y0, main.x1, y}, {x, y, main.x1, u.y0}})
		}
		for _, try := range tries {
			score := 0.0
			for i, v := range views {
				room := v.room(try[i], k)
				if min(room.w(), room.h()) < 15*k {
					score = math.Inf(-1)
					break
				}
				score += math.Log(v.cam.fit(room, s.extent()).mm) * []float64{3, 1, 1}[i]
			}
			if score > best+1e-9 {
				best, panes, tab, under = score, try, t, u
			}
		}
	}
	s.headline(head)
	for i, v := range views {
		s.view(v, panes[i])
	}
	s.table(under, tab)
	s.block(foot)
	for _, r := range append(panes[:], head, foot, under) {
		s.p.area(thin, "", none, pen{width: 0.3, ink: black}, r.corners()...)
	}
	s.p.area(thin, "frame", none, pen{width: 0.6, ink: black}, frame.corners()...)
}

// room is what the margins leave of a pane.
func (v view) room(r rect, k float64) rect {
	m := v.margin
	return rect{r.x0 + m[0]*k, r.y0 + m[1]*k, r.x1 - m[2]*k, r.y1 - m[3]*k}
}

// named tells whether a leg or support of a lug's name says it already.
func (s *sheet) named(lug string) bool {
	return slices.ContainsFunc(s.h.Legs, func(l lift.HungLeg) bool { return l.Name == lug }) ||
		slices.ContainsFunc(s.h.Supports, func(g lift.HungSupport) bool { return g.Name == lug })
}

func keys(m map[string]vec) []string { return slices.Sorted(maps.Keys(m)) }

// points of a body in the world, its CG among them.
func (s *sheet) points(b *lift.HungBody) []vec {
	out := []vec{b.CG}
	for _, name := range keys(b.Points) {
		out = append(out, b.Points[name])
	}
	return out
}

// corners of a body's size box in the world; false when it has no size.
func (s *sheet) corners(i int) (out [8]vec, ok bool) {
	b := &s.h.Bodies[i]
	size, from := s.h.Lift.Load.Size, s.h.Lift.Load.SizeFrom
	if i > 0 {
		j := slices.IndexFunc(s.h.Lift.Spreaders, func(x lift.Spreader) bool { return x.Name == b.Name })
		if j < 0 {
			return out, false
		}
		size, from = s.h.Lift.Spreaders[j].Size, s.h.Lift.Spreaders[j].SizeFrom
	}
	if size == nil {
		return out, false
	}
	var lo vec
	if from != nil {
		lo = from.XYZ()
	} else {
		var own []vec // the body's points in its own axes
		for _, p := range s.points(b) {
			d, r := minus(p, b.Origin), b.Rot
			own = append(own, vec{dot(vec{r[0], r[3], r[6]}, d), dot(vec{r[1], r[4], r[7]}, d), dot(vec{r[2], r[5], r[8]}, d)})
		}
		lo = corner(size.XYZ(), own)
	}
	for k, c := range box(lo, size.XYZ()) {
		out[k] = world(b, c)
	}
	return out, true
}

// solid is what a body's picture spans.
func (s *sheet) solid(i int) []vec {
	out := s.points(&s.h.Bodies[i])
	if c, ok := s.corners(i); ok {
		out = append(out, c[:]...)
	}
	return out
}

// extent is every point a view has to hold.
func (s *sheet) extent() []vec {
	var out []vec
	for i := range s.h.Bodies {
		out = append(out, s.solid(i)...)
	}
	for _, l := range s.h.Legs {
		out = append(out, l.Path...)
	}
	for _, h := range s.h.Hooks {
		out = append(out, h.At)
	}
	for _, n := range s.h.Nodes {
		out = append(out, n.At)
	}
	for _, g := range s.h.Supports {
		out = append(out, g.At)
	}
	for _, t := range s.h.Lift.Ties {
		if slices.ContainsFunc(s.h.Ties, func(h lift.HungTie) bool { return h.Name == t.Name }) {
			out = append(out, t.To.XYZ())
		}
	}
	if len(out) == 0 {
		out = []vec{{}}
	}
	return out
}

func (s *sheet) pointOf(r lift.Ref) (vec, bool) {
	for i := range s.h.Bodies {
		if s.h.Bodies[i].Name == r.Body {
			p, ok := s.h.Bodies[i].Points[r.Point]
			return p, ok
		}
	}
	return vec{}, false
}

// lugs are the load's points that legs take hold of.
func (s *sheet) lugs() []vec {
	if len(s.h.Bodies) == 0 {
		return nil
	}
	used := map[string]bool{}
	for _, l := range s.h.Lift.Legs {
		for _, r := range append([]lift.Ref{l.From, l.To}, l.Via...) {
			if r.Body == s.h.Bodies[0].Name {
				used[r.Point] = true
			}
		}
	}
	var out []vec
	for _, name := range keys(s.h.Bodies[0].Points) {
		if used[name] {
			out = append(out, s.h.Bodies[0].Points[name])
		}
	}
	return out
}

// headroom finds the hook and the lug that the figure lies between.
func (s *sheet) headroom(lugs []vec) (hook, lug vec, ok bool) {
	lug = slices.MaxFunc(lugs, func(a, b vec) int { return cmp.Compare(a[2], b[2]) })
	for _, h := range s.h.Hooks {
		if math.Abs(h.At[2]-lug[2]-s.h.HeadroomM) < 1e-3 {
			return h.At, lug, true
		}
	}
	return hook, lug, false
}

// tilted tells whether the load hangs further over than the file allows.
func (s *sheet) tilted() bool {
	limit := s.h.Lift.Limits.Tilt
	return limit != nil && len(s.h.Bodies) > 0 && s.h.Bodies[0].Tilt > float64(limit.Value)
}

// side names a direction in the load's own axes.
func side(azimuth float64) string {
	deg := math.Mod(azimuth*180/math.Pi+360, 360)
	for i, name := range []string{"+x", "+y", "−x", "−y", "+x"} {
		if math.Abs(deg-float64(i)*90) < 2 {
			return "load " + name
		}
	}
	return fmt.Sprintf("%.0f° from load x toward y", deg)
}

type cell struct {
	caption, text string
	loud          bool
}

// worst tells which leg is used most, and how many nobody rated.
func (s *sheet) worst() cell {
	c := cell{caption: "most used leg, share of its WLL", text: "none rated"}
	top, bare := -1.0, 0
	for i := range s.h.Legs {
		l := &s.h.Legs[i]
		st := s.state(l)
		if st.use == unrated {
			bare++
		} else if st.share > top {
			top = st.share
			c.text, c.loud = percent(st.share)+" on "+short(l.Name, 55*s.k, 5.2*s.k, true), st.use == over
		}
	}
	if c.loud {
		c.text = "OVER: " + c.text
	}
	if bare > 0 {
		c.caption += fmt.Sprintf(" (%d of %d legs have NO RATING)", bare, len(s.h.Legs))
	}
	return c
}

// headline says in large letters what one should know first.
func (s *sheet) headline(r rect) {
	var cells []cell
	if s.meta.Verdict != "" {
		cells = append(cells, cell{"plan, as far as checked", s.meta.Verdict, s.meta.Fails})
	}
	if s.meta.Worst != "" {
		cells = append(cells, cell{"used most", s.meta.Worst, s.meta.Fails})
	}
	if !s.h.Stable {
		text := "NOT STABLE"
		switch s.h.FellOver {
		case "":
		case "load":
			text += ": the load goes over"
		default:
			text += ": " + s.h.FellOver + " goes over"
		}
		cells = append(cells, cell{"pose as rigged", text, true})
	}
	if s.h.NearSingular {
		cells = append(cells, cell{"tensions rest on figures finer than the plan's", "CAUTION", true})
	}
	cells = append(cells, cell{"load, as declared", s.t.say(s.h.WeightN), false})
	if n := len(s.h.Hooks); n > 0 {
		h := slices.MaxFunc(s.h.Hooks, func(a, b lift.HungHook) int { return cmp.Compare(a.LoadN, b.LoadN) })
		caption := "on hook " + h.Name
		if n > 1 {
			caption = fmt.Sprintf("greatest of %d hooks, %s", n, h.Name)
		}
		cells = append(cells, cell{caption, s.t.say(h.LoadN), false})
	}
	if s.meta.Worst == "" {
		cells = append(cells, s.worst())
	}
	if len(s.h.Bodies) > 0 {
		b := &s.h.Bodies[0]
		text := "level"
		if b.LowSide != nil {
			text = degrees(b.Tilt) + ", low toward " + side(*b.LowSide)
		}
		c := cell{"tilt of the load", text, s.tilted()}
		if c.loud {
			c.text = "OVER LIMIT: " + c.text
		}
		cells = append(cells, c)
	}
	// Each cell gets its share of the width by what it has to say.
	k, need := s.k, 0.0
	big, small := 5.2*k, 2.3*k
	wide := make([]float64, len(cells))
	for {
		need = 0
		for i, c := range cells {
			wide[i] = max(width(c.text, big, true), width(c.caption, small, false)) + 5*k
			need += wide[i]
		}
		if need <= r.w() || big < 3*k {
			break
		}
		big *= 0.95
	}
	x := r.x0
	for i, c := range cells {
		w := wide[i] * r.w() / need
		in := black
		if c.loud {
			s.p.area(ground, "", black, pen{}, rect{x, r.y0, x + w, r.y1}.corners()...)
			in = white
		}
		if i > 0 {
			edge := black
			if c.loud && cells[i-1].loud {
				edge = white
			}
			s.p.line(thin, "", pen{width: 0.3, ink: edge}, pt{x, r.y0}, pt{x, r.y1})
		}
		s.p.text("headline", pt{x + 2*k, r.y0 + 3.6*k}, 0, small, false, in, short(c.caption, w-3*k, small, false))
		s.p.text("headline", pt{x + 2*k, r.y1 - 3*k}, 0, big, true, in, short(c.text, w-3*k, big, true))
		x += w
	}
}

// line is one row of the table of forces.
type line struct {
	of    string
	leg   *lift.HungLeg // nil for supports and ties
	cells []string
	loud  bool
}

// lines are the legs in file order, then supports and ties.
func (s *sheet) lines() []line {
	var out []line
	for i := range s.h.Legs {
		l := &s.h.Legs[i]
		st := s.state(l)
		c := []string{l.Name, s.t.value(l.TensionN), "—", "—", degrees(l.FromHorizontal), degrees(l.FromVertical), percent(st.share)}
		if st.slack {
			c[1] = "slack"
		}
		if p, ok := s.p95[l.Name]; ok {
			c[2] = s.t.value(p)
		}
		if l.WorstN != nil {
			c[3] = s.t.value(*l.WorstN)
		}
		switch st.use {
		case unrated:
			c[6] = "no rating"
		case over:
			c[6] = "OVER " + c[6]
		}
		out = append(out, line{"table/leg/" + l.Name, l, c, st.use == over})
	}
	for i := range s.h.Supports {
		g := &s.h.Supports[i]
		f := s.t.value(norm(g.Force))
		if g.Off {
			f = "lifted off"
		}
		out = append(out, line{of: "table/support/" + g.Name, cells: []string{"support " + g.Name, f}})
	}
	for i := range s.h.Ties {
		t := &s.h.Ties[i]
		out = append(out, line{of: "table/tie/" + t.Name, cells: []string{"tie " + t.Name, s.t.value(t.TensionN)}})
	}
	return out
}

// table is the table of forces, measured before it is drawn.
type table struct {
	lines []line
	notes []string
	row   float64 // height of a row
	h     float64
}

// notes are what the pictures can not say.
func (s *sheet) notes() []string {
	out := []string{fmt.Sprintf("Lines: thin up to %.0f %% of WLL, thick from there, barred over 100 %%, hollow without rating, dashed slack. "+
		"Share of WLL: P95 times dynamic factor, over WLL. Forces in %s at a leg's upper end; over points: its greatest span. Angles are angles in space.", nearFrom*100, s.t.force)}
	if s.t.mass {
		out[0] += " A mass unit means force at standard gravity."
	}
	if s.h.Stable && s.h.StabilityM != nil {
		out = append(out, "The pose is lost if the load's CG rises by "+s.t.length(*s.h.StabilityM)+".")
	}
	if len(s.h.Bodies) > 0 && s.h.Lift.Load.Size == nil {
		out = append(out, "The load has no size in the file: drawn is the outline of its lugs and CG.")
	}
	return append(out, s.h.Notes...)
}

// newTable sizes the table: rows shrink before any is left out, and what is
// left out is counted.
func (s *sheet) newTable(w, most float64) table {
	k := s.k
	t := table{lines: s.lines(), row: 4.4 * k}
	for _, n := range s.notes() {
		t.notes = append(t.notes, wrap(n, w-4*k, 2.2*k, false)...)
	}
	if more := len(t.notes) - 8; more > 0 {
		t.notes = append(t.notes[:7], fmt.Sprintf("... and %d more lines of notes: see the check of this lift.", more+1))
	}
	size := func() float64 { return t.row*(float64(len(t.lines))+1.7) + 2.9*k*float64(len(t.notes)) + 3*k }
	if size() > most {
		t.row = max(2.7*k, t.row-(size()-most)/(float64(len(t.lines))+1.7))
	}
	if fits := len(t.lines) - int(math.Ceil((size()-most)/t.row-1e-9)); fits < len(t.lines) {
		left := len(t.lines) - fits + 1
		slices.SortStableFunc(t.lines, func(a, b line) int { return cmp.Compare(s.rank(b), s.rank(a)) })
		t.lines = append(t.lines[:fits-1], line{cells: []string{fmt.Sprintf("%d more, none of them used more than these: see the check", left)}})
	}
	t.h = size()
	return t
}

// rank orders rows when there is not room for all: legs without rating
// first, then by use.
func (s *sheet) rank(l line) float64 {
	if l.leg == nil {
		return -1
	}
	if st := s.state(l.leg); st.use != unrated {
		return st.share
	}
	return math.Inf(1)
}

// headings of the table, two lines each; an empty second line is the unit.
var headings = [7][2]string{{"leg", " "}, {"tension", ""}, {"P95", ""}, {"worst", ""}, {"angle from", "horizontal"}, {"angle from", "vertical"}, {"share", "of WLL"}}

func (s *sheet) table(r rect, t table) {
	head := make([]line, 2)
	for i := range head {
		head[i] = line{of: "table/head", loud: true}
		for _, c := range headings {
			head[i].cells = append(head[i].cells, cmp.Or(c[i], s.t.force))
		}
	}
	// Columns are as wide as their widest cell; the name gets the rest, and
	// where that is under a fifth all text shrinks.
	const samples, space = 0.1, 3
	size := t.row * 0.6
	var right [7]float64 // edges
	for ; ; size *= 0.95 {
		x := r.x1 - 1.5*s.k
		for c := len(headings) - 1; c > 0; c-- {
			right[c] = x
			w := 8 * s.k
			for _, l := range slices.Concat(head, t.lines) {
				if c < len(l.cells) {
					w = max(w, width(clean(l.cells[c]), size, l.loud))
				}
			}
			x -= w + space*s.k
		}
		right[0] = x
		if x-r.x0 > (samples+0.2)*r.w() || size < 1.4 {
			break
		}
	}
	put := func(l line, base float64) {
		for i, c := range l.cells {
			switch {
			case i > 0:
				s.p.text(l.of, pt{right[i], base}, 1, size, l.loud, black, c)
			case len(l.cells) == 1:
				s.p.text(l.of, pt{r.x0 + samples*r.w(), base}, 0, size, l.loud, black, short(c, r.w()*(1-samples)-2, size, l.loud))
			default:
				s.name(l, pt{r.x0 + samples*r.w(), base}, right[0]-r.x0-samples*r.w(), size)
			}
		}
	}
	y := r.y0 + 0.8*s.k
	put(head[0], y+t.row*0.72)
	put(head[1], y+t.row*1.4)
	y += t.row * 0.7
	for _, l := range t.lines {
		s.p.line(thin, "", pen{width: 0.1, ink: grey}, pt{r.x0, y + t.row}, pt{r.x1, y + t.row})
		y += t.row
		if l.leg != nil {
			m := y + t.row/2
			s.p.rope("table/line/"+l.leg.Name, s.state(l.leg), min(barred, 0.4*t.row), []pt{{r.x0 + 1.5*s.k, m}, {r.x0 + samples*r.w() - 1.5*s.k, m}})
		}
		put(l, y+t.row*0.72)
	}
	y += t.row + 0.6*s.k
	s.p.line(thin, "", pen{width: 0.1, ink: grey}, pt{r.x0, y}, pt{r.x1, y})
	for _, n := range t.notes {
		y += 2.9 * s.k
		s.p.text("note", pt{r.x0 + 2*s.k, y}, 0, 2.2*s.k, false, black, n)
	}
}

// name writes the first cell of a row: in two lines of small print before
// anything is cut out of it.
func (s *sheet) name(l line, at pt, w, size float64) {
	c := clean(l.cells[0])
	if width(c, size, l.loud) <= w {
		s.p.text(l.of, at, 0, size, l.loud, black, c)
		return
	}
	size *= 0.66
	lines := wrap(c, w, size, l.loud)
	if len(lines) > 2 {
		lines = []string{lines[0], short(strings.Join(lines[1:], " "), w, size, l.loud)}
	}
	for i, t := range lines {
		s.p.text(l.of, at.add(pt{0, size * 1.05 * (float64(i) - 0.85)}), 0, size, l.loud, black, t)
	}
}

// block is the title block, with the safety wording under it.
func (s *sheet) block(r rect) {
	k, l := s.k, s.h.Lift
	hash := l.SHA256
	if len(hash) > 12 {
		hash = hash[:12]
	}
	cg := s.h.CGLoad
	type field struct {
		caption, text string
		share         float64
	}
	rulebook := cmp.Or(map[string]string{"us": "US", "eu": "EU"}[l.Rulebook], cmp.Or(l.Rulebook, "none chosen"))
	rows := [][]field{
		{
			{"title", l.Title, 0.42},
			{"step", cmp.Or(s.h.Step, "as first rigged"), 0.22},
			{"revision", cmp.Or(l.Revision, "none"), 0.1},
			{"rulebook", rulebook, 0.12},
			{"date", s.meta.Date, 0.14},
		},
		{
			{"load", cmp.Or(l.Load.Name, "load"), 0.22},
			{"declared weight (mass)", s.t.weight(s.h.WeightN, s.h.MassKg), 0.2},
			{"CG in load axes x, y, z", s.t.length(cg[0]) + ", " + s.t.length(cg[1]) + ", " + s.t.length(cg[2]), 0.24},
			{"file", l.File, 0.2},
			{"SHA-256 of the file begins", hash, 0.14},
		},
	}
	h := 10 * k
	for i, row := range rows {
		y, x := r.y0+h*float64(i), r.x0
		for j, f := range row {
			w := f.share * r.w()
			s.p.text("block", pt{x + 1.5*k, y + 3.2*k}, 0, 2.1*k, false, black, f.caption)
			s.p.text("block/"+f.caption, pt{x + 1.5*k, y + 8*k}, 0, 3.6*k, i == 0 && j == 0, black, short(f.text, w-2.5*k, 3.6*k, i == 0 && j == 0))
			if j > 0 {
				s.p.line(thin, "", pen{width: 0.15, ink: black}, pt{x, y}, pt{x, y + h})
			}
			x += w
		}
		s.p.line(thin, "", pen{width: 0.15, ink: black}, pt{r.x0, y + h}, pt{r.x1, y + h})
	}
	for i, t := range wrap(safety, r.w()-3*k, 2.6*k, true) {
		s.p.text("safety", pt{r.x0 + 1.5*k, r.y0 + 2*h + 3.2*k*float64(i+1)}, 0, 2.6*k, true, black, t)
	}
}
