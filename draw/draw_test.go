package draw

import (
	"bytes"
	"encoding/xml"
	"errors"
	"flag"
	"fmt"
	"hash/crc32"
	"image"
	"image/color"
	"image/png"
	"io"
	"maps"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"
	"pgregory.net/rapid"

	"plumbhook/fault"
	"plumbhook/internal/testkit"
	"plumbhook/lift"
	"plumbhook/quantity"
)

var (
	lookAt = flag.String("look", "", "folder to write every scene to, as SVG, PDF and PNG, for the eye to judge")
	update = flag.Bool("update", false, "rewrite the golden files")
)

func TestLook(t *testing.T) {
	if *lookAt == "" {
		t.Skip("no folder given with -look")
	}
	for _, s := range scenes {
		p := s.sheet()
		for ext, write := range map[string]func(io.Writer) error{
			"svg": p.SVG, "pdf": p.PDF, "png": func(w io.Writer) error { return p.PNG(w, 160) },
		} {
			var b bytes.Buffer
			if err := write(&b); err != nil {
				t.Fatal(err)
			}
			if err := os.WriteFile(filepath.Join(*lookAt, s.name+"."+ext), b.Bytes(), 0o666); err != nil {
				t.Fatal(err)
			}
		}
	}
}

// element is one thing of a written SVG.
type element struct {
	kind, of, text string
	attr           map[string]string
}

func (e element) num(t tb, name string) float64 {
	v, err := strconv.ParseFloat(e.attr[name], 64)
	if err != nil {
		t.Fatalf("%s of %s %q: %v", name, e.kind, e.of, err)
	}
	return v
}

// tb is what testing.T and rapid.T share.
type tb interface {
	Fatal(args ...any)
	Fatalf(format string, args ...any)
}

// readSVG reads a sheet back the way a browser would, strictly.
func readSVG(t tb, p *Page) []element {
	var b bytes.Buffer
	if err := p.SVG(&b); err != nil {
		t.Fatal(err)
	}
	var out []element
	var open []int
	d := xml.NewDecoder(&b)
	for {
		tok, err := d.Token()
		if errors.Is(err, io.EOF) {
			return out
		}
		if err != nil {
			t.Fatalf("not well-formed: %v", err)
		}
		switch tok := tok.(type) {
		case xml.StartElement:
			e := element{kind: tok.Name.Local, attr: map[string]string{}}
			for _, a := range tok.Attr {
				e.attr[a.Name.Local] = a.Value
			}
			e.of = e.attr["data-of"]
			open = append(open, len(out))
			out = append(out, e)
		case xml.EndElement:
			open = open[:len(open)-1]
		case xml.CharData:
			if len(open) > 0 {
				out[open[len(open)-1]].text += string(tok)
			}
		}
	}
}

// texts of all elements with this data-of, joined by a space.
func texts(es []element, of string) string {
	var out []string
	for _, e := range es {
		if e.kind == "text" && e.of == of {
			out = append(out, e.text)
		}
	}
	return strings.Join(out, " ")
}

func TestEverythingIsSaid(t *testing.T) {
	for _, s := range scenes {
		t.Run(s.name, func(t *testing.T) {
			r := s.rig()
			es := readSVG(t, s.sheet())
			full := s.name != "hostile" && s.name != "crowded" // their names are cut, or some left out
			for _, l := range r.Legs {
				row := texts(es, "table/leg/"+l.Name)
				label := texts(es, "elevation/legname/"+l.Name)
				if !full {
					continue
				}
				if !strings.HasPrefix(row, l.Name+" ") {
					t.Errorf("table row of %s: %q", l.Name, row)
				}
				want := s.sheetOf(r).t.say(l.TensionN)
				if l.Slack {
					want = "slack"
				}
				u, rated := r.util[l.Name]
				if !rated {
					want += ", no rating"
				} else if u > 1 {
					want += ", OVER " + percent(u)
				}
				if !strings.HasPrefix(label, l.Name+" "+want) {
					t.Errorf("label of %s: %q, want it to say %q", l.Name, label, want)
				}
				if rated && !strings.HasSuffix(label, percent(u)) {
					t.Errorf("label of %s: %q does not give %s", l.Name, label, percent(u))
				}
			}
			for _, h := range r.Hooks {
				if got := texts(es, "elevation/hook/"+h.Name); !strings.Contains(got, "hook "+h.Name) {
					t.Errorf("hook %s: %q", h.Name, got)
				}
			}
			if got := texts(es, "safety"); got != safety {
				t.Errorf("safety wording: %q", got)
			}
			for _, want := range []string{r.Lift.SHA256[:12], s.meta.Date, r.Lift.Revision, "load x"} {
				if !slices.ContainsFunc(es, func(e element) bool { return e.text == want }) {
					t.Errorf("nowhere says %q", want)
				}
			}
			lines := 0
			for _, e := range es {
				if e.of == "elevation/plumb/"+r.Hooks[0].Name || e.of == "plan/cg/load" && e.kind == "circle" {
					lines++
				}
			}
			if lines != 2 {
				t.Errorf("%d of plumb line and CG sign, want both once", lines)
			}
		})
	}
}

// The long names of the hostile scene stay whole in neither place, but what
// tells them apart, beginning and end, does.
func TestLongNamesStayApart(t *testing.T) {
	s := scenes[slices.IndexFunc(scenes, func(s scene) bool { return s.name == "hostile" })]
	es := readSVG(t, s.sheet())
	var seen []string
	for _, l := range s.rig().Legs {
		row := texts(es, "table/leg/"+l.Name)
		if !strings.HasPrefix(row, "the very long name of the ") || slices.Contains(seen, row) {
			t.Errorf("row %q", row)
		}
		seen = append(seen, row)
		if !strings.Contains(row, "north-western") && !strings.Contains(row, "south-eastern") {
			t.Errorf("row %q lost its side", row)
		}
	}
	for _, e := range es {
		if e.kind == "script" {
			t.Error("a name became an element")
		}
	}
	if got := texts(es, "block/load"); got != "bonnet <script>alert(1)</script>" {
		t.Errorf("load: %q", got)
	}
}

// clashes reports marks outside the page and texts over texts or over legs.
func clashes(p *Page) error {
	page := rect{0, 0, p.w, p.h}
	var all []label
	var boxes []rect
	lines := map[string][]poly{}
	for _, layer := range p.marks {
		for _, m := range layer {
			if b := m.bounds(); !page.holds(b) {
				return fmt.Errorf("outside the page: %+v at %+v", m, b)
			}
			switch m := m.(type) {
			case label:
				all, boxes = append(all, m), append(boxes, m.bounds())
			case poly:
				if view, rest, ok := strings.Cut(m.of, "/"); ok && strings.HasPrefix(rest, "leg/") {
					lines[view] = append(lines[view], m)
				}
			}
		}
	}
	for i, a := range all {
		for j, b := range all[:i] {
			if boxes[i].grow(-0.05).hits(boxes[j]) {
				return fmt.Errorf("%q of %s over %q of %s", a.s, a.of, b.s, b.of)
			}
		}
		view, _, _ := strings.Cut(a.of, "/")
		for _, l := range lines[view] {
			for k := 0; k+1 < len(l.pts); k++ {
				if _, _, hit := boxes[i].cut(l.pts[k], l.pts[k+1]); hit {
					return fmt.Errorf("%q of %s over %s", a.s, a.of, l.of)
				}
			}
		}
	}
	return nil
}

func TestNothingCollides(t *testing.T) {
	testkit.Alone(t)
	for _, s := range scenes {
		for paper := range papers {
			for _, units := range []quantity.System{quantity.Metric, quantity.US} {
				s.meta.Paper, s.meta.Units, s.meta.Force = paper, units, ""
				if err := clashes(s.sheet()); err != nil {
					t.Errorf("%s on %q: %v", s.name, paper, err)
				}
			}
		}
	}
}

// ratio reads the scale out of a view's title.
func ratio(t *testing.T, es []element, view string) float64 {
	_, n, ok := strings.Cut(texts(es, view+"/title/"), "1:")
	v, err := strconv.ParseFloat(n, 64)
	if !ok || err != nil {
		t.Fatalf("no scale in the title of the %s: %v", view, err)
	}
	return v
}

// The drawn distance of any two lugs is the real one over the scale, along
// the axes each view shows.
func TestToScale(t *testing.T) {
	for _, s := range scenes {
		r := s.rig()
		es := readSVG(t, s.sheet())
		load := &r.Bodies[0]
		at := func(view, lug string) pt {
			for _, e := range es {
				if e.of == view+"/lug/load."+lug {
					return pt{e.num(t, "cx"), e.num(t, "cy")}
				}
			}
			t.Fatalf("%s: lug %s is not in the %s", s.name, lug, view)
			return pt{}
		}
		names := keys(load.Points)
		for _, view := range []string{"elevation", "plan"} {
			n := ratio(t, es, view)
			facesY := strings.Contains(texts(es, "elevation/title/"), "along world +y,")
			for i, a := range names {
				for _, b := range names[:i] {
					d := minus(load.Points[a], load.Points[b])
					drawn := at(view, a).sub(at(view, b)).len() * n / 1000
					real := math.Hypot(d[0], d[1])
					if view == "elevation" {
						if !facesY {
							continue
						}
						real = math.Hypot(d[0], d[2])
					}
					if math.Abs(drawn-real) > 0.0015*n/1000 { // the file rounds to a thousandth of a mm
						t.Errorf("%s: %s to %s in the %s: drawn %.4f m, real %.4f m", s.name, a, b, view, drawn, real)
					}
				}
			}
		}
	}
}

func TestScaleBarMeasures(t *testing.T) {
	unit := map[string]float64{"m": 1, "ft": 0.3048, "in": 0.0254}
	for _, s := range scenes {
		es := readSVG(t, s.sheet())
		for _, view := range []string{"elevation", "plan"} {
			bar := around()
			for _, e := range es {
				if e.kind == "polygon" && e.of == view+"/scalebar/" {
					for _, p := range strings.Fields(e.attr["points"]) {
						x, y, _ := strings.Cut(p, ",")
						px, _ := strconv.ParseFloat(x, 64)
						py, _ := strconv.ParseFloat(y, 64)
						bar = rect{min(bar.x0, px), min(bar.y0, py), max(bar.x1, px), max(bar.y1, py)}
					}
				}
			}
			_, said, _ := strings.Cut(texts(es, view+"/scalebar/"), " ") // after the zero
			n, u, _ := strings.Cut(said, " ")
			v, err := strconv.ParseFloat(n, 64)
			if err != nil || unit[u] == 0 {
				t.Fatalf("%s: scale bar says %q", s.name, said)
			}
			if got, want := bar.w()*ratio(t, es, view)/1000, v*unit[u]; math.Abs(got-want) > 1e-3*want {
				t.Errorf("%s: the bar of the %s says %s and measures %.4f m", s.name, view, said, got)
			}
			if d := v / math.Pow(10, math.Floor(math.Log10(v))); math.Abs(d-math.Round(d)) > 1e-9 || !slices.Contains([]float64{1, 2, 5}, math.Round(d)) {
				t.Errorf("%s: %s is not a round length", s.name, said)
			}
		}
	}
}

// The pose drawn is the hung one: the lugs of a load tilted by 2.4 degrees
// lie on a line of that slope, and the CG is plumb under the hook.
func TestHungPose(t *testing.T) {
	es := readSVG(t, scenes[0].sheet())
	find := func(of string) pt {
		for _, e := range es {
			if e.of == of && e.kind == "circle" {
				return pt{e.num(t, "cx"), e.num(t, "cy")}
			}
		}
		t.Fatalf("no %s", of)
		return pt{}
	}
	d := find("elevation/lug/load.east").sub(find("elevation/lug/load.west"))
	if got := math.Atan2(d.y, d.x) / deg; math.Abs(got-2.4) > 0.01 {
		t.Errorf("drawn tilt %.3f degrees, want 2.4 and low to the right", got)
	}
	if cg, ring := find("elevation/cg/load"), find("elevation/node/ring"); math.Abs(cg.x-ring.x) > 0.002 {
		t.Errorf("CG at %.3f mm, hook line at %.3f mm", cg.x, ring.x)
	}
	if got := texts(es, "elevation/low/load"); got != "low side tilt 2.4°" {
		t.Errorf("low side: %q", got)
	}
}

func TestAnglesSayFromWhat(t *testing.T) {
	for _, c := range []struct {
		scene int
		leg   string
		want  string
	}{
		{0, "west", "68.2° from horizontal"},
		{1, "south-east", ""}, // not the flattest on its side
		{1, "north-east", "true 27.9° from vertical"},
	} {
		if got := texts(readSVG(t, scenes[c.scene].sheet()), "elevation/angle/"+c.leg); got != c.want {
			t.Errorf("%s: %q, want %q", c.leg, got, c.want)
		}
	}
}

func TestSameInputSameBytes(t *testing.T) {
	testkit.Alone(t)
	before := crc32.ChecksumIEEE(goregular.TTF) ^ crc32.ChecksumIEEE(gobold.TTF)
	for _, s := range scenes {
		write := func() (out [3][]byte) {
			p := s.sheet()
			for i, f := range []func(io.Writer) error{p.SVG, p.PDF, func(w io.Writer) error { return p.PNG(w, 60) }} {
				var b bytes.Buffer
				if err := f(&b); err != nil {
					t.Fatal(err)
				}
				out[i] = b.Bytes()
			}
			return out
		}
		a, b := write(), write()
		for i, kind := range []string{"SVG", "PDF", "PNG"} {
			if !bytes.Equal(a[i], b[i]) {
				t.Errorf("%s: two runs give different %s", s.name, kind)
			}
		}
		if !bytes.Contains(a[1], []byte("D:20000101")) {
			t.Errorf("%s: the PDF carries another date than the fixed one", s.name)
		}
	}
	if after := crc32.ChecksumIEEE(goregular.TTF) ^ crc32.ChecksumIEEE(gobold.TTF); after != before {
		t.Error("writing a PDF changed the fonts for everyone else")
	}
}

// Printed grey, every state of a leg has a line of its own. Columns of a
// rendered level leg are reduced to how thick it is, and in how many pieces.
func TestLegibleInBlackAndWhite(t *testing.T) {
	const dpi, l = 300, 60
	k := dpi / 25.4
	type look struct {
		gaps  bool // columns without ink
		cores bool // most columns have two pieces of ink with white between
		thick int  // median ink of the inked columns, tenths of a mm
		bars  int  // places at least 3 mm thick
	}
	seen := map[look]string{}
	for name, st := range map[string]legState{
		"within": {use: within, share: 0.5}, "near": {use: near, share: 0.9}, "over": {use: over, share: 1.1},
		"unrated": {use: unrated}, "slack": {use: within, slack: true}, "slack, over": {use: over, slack: true, share: 1.1},
	} {
		p := &Page{w: l, h: 8}
		p.rope("", st, barred, []pt{{0, 4}, {l, 4}})
		var b bytes.Buffer
		if err := p.PNG(&b, dpi); err != nil {
			t.Fatal(err)
		}
		img, err := png.Decode(&b)
		if err != nil {
			t.Fatal(err)
		}
		var v look
		var ink []int
		double := 0
		for x := 8; x < img.Bounds().Dx()-8; x++ {
			n, pieces, was := 0, 0, false
			for y := range img.Bounds().Dy() {
				dark := color.GrayModel.Convert(img.At(x, y)).(color.Gray).Y < 110
				if dark {
					n++
				}
				if dark && !was {
					pieces++
				}
				was = dark
			}
			switch {
			case n == 0:
				v.gaps = true
			case float64(n)/k >= 3 && (len(ink) == 0 || float64(ink[len(ink)-1])/k < 3):
				v.bars++
			}
			if n > 0 {
				ink = append(ink, n)
			}
			if pieces == 2 {
				double++
			}
		}
		slices.Sort(ink)
		v.cores = double > len(ink)/2
		v.thick = int(math.Round(float64(ink[len(ink)/2]) / k * 10))
		v.bars = min(v.bars, 5)
		if other, dup := seen[v]; dup {
			t.Errorf("%s and %s look the same in grey: %+v", name, other, v)
		}
		seen[v] = name
		if (st.use == over) != (v.bars == 5) || st.slack != v.gaps || (st.use == unrated) != v.cores {
			t.Errorf("%s: %+v", name, v)
		}
	}
}

func TestPNG(t *testing.T) {
	s := scenes[0]
	var b bytes.Buffer
	if err := s.sheet().PNG(&b, 150); err != nil {
		t.Fatal(err)
	}
	img, err := png.Decode(&b)
	if err != nil {
		t.Fatal(err)
	}
	if want := image.Pt(1754, 1241); img.Bounds().Size() != want { // 297 by 210 mm, rounded up
		t.Errorf("%v pixels, want %v", img.Bounds().Size(), want)
	}
	// The picture has the lug where the drawing has it: white within a dark ring.
	for _, e := range readSVG(t, s.sheet()) {
		if e.of != "elevation/lug/load.west" {
			continue
		}
		k := 150 / 25.4
		grey := func(dx float64) uint8 {
			return color.GrayModel.Convert(img.At(int((e.num(t, "cx")+dx)*k), int(e.num(t, "cy")*k))).(color.Gray).Y
		}
		if c, ring := grey(0), grey(-0.8); c < 200 || ring > 100 {
			t.Errorf("centre %d, ring %d: the lug is not there", c, ring)
		}
	}
	for _, dpi := range []float64{0, -1, 5, 5000, math.NaN(), math.Inf(1)} {
		if err := s.sheet().PNG(io.Discard, dpi); err == nil {
			t.Errorf("%g dpi accepted", dpi)
		}
	}
}

func TestPDFSize(t *testing.T) {
	for paper, want := range map[string]string{"A4": "841.89 595.28", "A3": "1190.55 841.89", "Letter": "792.00 612.00"} {
		s := scenes[0]
		s.meta.Paper = paper
		var b bytes.Buffer
		if err := s.sheet().PDF(&b); err != nil {
			t.Fatal(err)
		}
		if !bytes.Contains(b.Bytes(), []byte("/MediaBox [0 0 "+want+"]")) {
			t.Errorf("%s is not %s points", paper, want)
		}
		if n := bytes.Count(b.Bytes(), []byte("/FontFile2")); n != 2 {
			t.Errorf("%d embedded fonts, want 2", n)
		}
	}
}

func TestFaults(t *testing.T) {
	broken := twoLeg()
	broken.Hooks[0].At[2] = math.NaN()
	for _, c := range []struct {
		name string
		rig  *rig
		meta Meta
		code fault.Code
	}{
		{"a bare ton", twoLeg(), Meta{Force: "ton"}, fault.Ambiguous},
		{"a length as a force", twoLeg(), Meta{Force: "mm"}, fault.BadUnit},
		{"unknown paper", twoLeg(), Meta{Paper: "A5"}, fault.Unsupported},
		{"no number", broken, Meta{}, fault.Internal},
	} {
		p := Sheet(c.rig.Hung, c.rig.util, c.rig.p95, c.meta)
		for _, f := range []func(io.Writer) error{p.SVG, p.PDF, func(w io.Writer) error { return p.PNG(w, 100) }} {
			var b bytes.Buffer
			if err := f(&b); err == nil || fault.Of(err)[0].Code != c.code || b.Len() > 0 {
				t.Errorf("%s: %v, %d bytes written", c.name, err, b.Len())
			}
		}
	}
}

func TestNothingHung(t *testing.T) {
	h := &lift.Hung{Lift: &lift.Lift{}, Legs: []lift.HungLeg{{Name: "nowhere"}}}
	p := Sheet(h, nil, nil, Meta{})
	if err := p.PDF(io.Discard); err != nil {
		t.Error(err)
	}
	if err := clashes(p); err != nil {
		t.Error(err)
	}
	if got := texts(readSVG(t, p), "headline"); !strings.Contains(got, "NOT STABLE") || !strings.Contains(got, "none rated") {
		t.Errorf("headline: %q", got)
	}
}

// A sheet of any rig holds together: inside the page, no text over another,
// well-formed whatever the names.
func TestAnyRig(t *testing.T) {
	testkit.Alone(t)
	rapid.Check(t, func(t *rapid.T) {
		r := newRig(rapid.String().Draw(t, "title"), rapid.Float64Range(1e-3, 1e7).Draw(t, "mass"))
		span := math.Pow(10, rapid.Float64Range(-2, 4).Draw(t, "log span"))
		co := rapid.Float64Range(-span, span)
		at := func(what string) vec {
			return vec{co.Draw(t, what+" x"), co.Draw(t, what+" y"), co.Draw(t, what+" z")}
		}
		r.Lift.Rulebook = rapid.SampledFrom([]string{"us", "eu", ""}).Draw(t, "rulebook")
		if rapid.Bool().Draw(t, "sized") {
			p := rapid.Float64Range(0, span)
			r.Lift.Load.Size = size(p.Draw(t, "length"), p.Draw(t, "width"), p.Draw(t, "height"))
		}
		names := rapid.SliceOfNDistinct(rapid.String(), 0, 12, rapid.ID[string]).Draw(t, "legs")
		points := map[string]vec{}
		for _, n := range names {
			points[n] = at(n)
		}
		angle := rapid.Float64Range(-math.Pi, math.Pi)
		b := r.body("load", turned(angle.Draw(t, "tilt"), angle.Draw(t, "yaw")), at("cg"), at("place"), points)
		hook := at("hook")
		r.hook(rapid.String().Draw(t, "hook"), hook, r.WeightN)
		for _, n := range names {
			path := []vec{hook, b.Points[n]}
			if rapid.Bool().Draw(t, "over a point") {
				path = []vec{hook, b.Points[n], at("bend")}
			}
			r.leg(n, ref("hook", ""), ref("load", n), rapid.Float64Range(0, 1e9).Draw(t, "tension"),
				rapid.Float64Range(-0.2, 1.5).Draw(t, "share"), path...)
		}
		for _, n := range rapid.SliceOfN(rapid.String(), 0, 2).Draw(t, "supports") {
			r.Supports = append(r.Supports, lift.HungSupport{Name: n, At: at("support"), Off: rapid.Bool().Draw(t, "off")})
		}
		r.Notes = rapid.SliceOfN(rapid.String(), 0, 3).Draw(t, "notes")
		r.clear()
		p := Sheet(r.Hung, r.util, r.p95, Meta{
			Units: rapid.SampledFrom([]quantity.System{quantity.Metric, quantity.US}).Draw(t, "units"),
			Paper: rapid.SampledFrom(slices.Sorted(maps.Keys(papers))).Draw(t, "paper"),
			Force: rapid.SampledFrom([]string{"", "N", "t", "short ton", "kip", "MN"}).Draw(t, "force"),
		})
		if err := clashes(p); err != nil {
			t.Fatal(err)
		}
		readSVG(t, p)
		if err := p.PDF(io.Discard); err != nil {
			t.Fatal(err)
		}
	})
}

// The golden file lists what the sheet of the first scene says, mark by mark.
func TestGolden(t *testing.T) {
	var b strings.Builder
	for _, e := range readSVG(t, scenes[0].sheet()) {
		if e.kind == "text" {
			fmt.Fprintf(&b, "%s: %s\n", e.of, e.text)
		}
	}
	file := filepath.Join("testdata", scenes[0].name+".txt")
	if *update {
		if err := os.WriteFile(file, []byte(b.String()), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if b.String() != string(want) {
		t.Errorf("the sheet says something else than %s; run with -update and look at the difference:\n%s", file, b.String())
	}
}

func BenchmarkSheet(b *testing.B) {
	for _, s := range scenes {
		b.Run(s.name, func(b *testing.B) {
			r := s.rig()
			for b.Loop() {
				Sheet(r.Hung, r.util, r.p95, s.meta)
			}
		})
	}
}
