package draw

import (
	"math"
	"slices"
	"strings"
	"unicode"

	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/sfnt"
	"golang.org/x/image/math/fixed"
)

// Page is a sheet ready to be written out: marks in drawing order, later
// ones over earlier ones.
type Page struct {
	w, h  float64 // mm
	title string
	marks [layers][]mark
	err   error // why there is no sheet; every writer returns it
}

// The layers of a page, bottom first. Text backings lie under the legs so
// that a label never cuts a leg into something like dashes.
const (
	ground = iota // fills of bodies and panels
	thin          // outlines, dimensions, leaders
	backing
	legs
	symbols
	words
	layers
)

// pt is a place on the page in mm, from the top left corner, y down.
type pt struct{ x, y float64 }

func (a pt) add(b pt) pt           { return pt{a.x + b.x, a.y + b.y} }
func (a pt) sub(b pt) pt           { return pt{a.x - b.x, a.y - b.y} }
func (a pt) mul(k float64) pt      { return pt{a.x * k, a.y * k} }
func (a pt) len() float64          { return math.Hypot(a.x, a.y) }
func (a pt) to(b pt, t float64) pt { return a.add(b.sub(a).mul(t)) }

// unit is the direction of a; right for a point without one.
func (a pt) unit() pt {
	if l := a.len(); l > 0 {
		return a.mul(1 / l)
	}
	return pt{1, 0}
}

// left is a turned a quarter anticlockwise as seen on the page.
func (a pt) left() pt { return pt{a.y, -a.x} }

// polar is the direction at an angle, anticlockwise from right as seen.
func polar(rad float64) pt { return pt{math.Cos(rad), -math.Sin(rad)} }

// angle is the inverse of polar.
func (a pt) angle() float64 { return math.Atan2(-a.y, a.x) }

// ink is one of the few colours of a sheet. Red always comes with a pattern
// or a word of its own.
type ink uint8

const (
	none ink = iota
	black
	grey
	pale  // faces turned away from the light
	paler // faces turned to the light
	white
	red
)

var rgb = [...][3]uint8{
	black: {0, 0, 0}, grey: {110, 110, 110}, pale: {214, 214, 214}, paler: {236, 236, 236},
	white: {255, 255, 255}, red: {170, 0, 0},
}

// pen draws a line; a zero width draws none.
type pen struct {
	width float64   // mm
	dash  []float64 // mm on, off ...; nil is solid
	ink   ink
}

// A mark is a poly, an arc or a label. of says what it shows, for whoever
// works with the SVG: "elevation/leg/west"; empty for furniture.
type mark interface{ bounds() rect }

type poly struct {
	of     string
	pts    []pt
	closed bool
	fill   ink
	pen    pen
}

type arc struct {
	of         string
	c          pt
	r          float64
	start, end float64 // rad, anticlockwise as seen; a full turn makes a circle
	fill       ink     // circles only
	pen        pen
}

type label struct {
	of   string
	at   pt // left end of the baseline
	size float64
	bold bool
	ink  ink
	s    string
}

func (m poly) bounds() rect { return around(m.pts...).grow(m.pen.width / 2) }
func (m arc) bounds() rect  { return around(m.points()...).grow(m.pen.width / 2) }

// bounds of text: ascender and descender of the font are 0.75 and 0.22 of
// its size for every letter without a double accent.
func (m label) bounds() rect {
	return rect{m.at.x, m.at.y - 0.75*m.size, m.at.x + width(m.s, m.size, m.bold), m.at.y + 0.22*m.size}
}

func (m arc) full() bool { return math.Abs(m.end-m.start) >= 2*math.Pi-1e-9 }

// points follows the arc closely enough for print: steps of 4 degrees leave
// 0.06 % of the radius between chord and arc.
func (m arc) points() []pt {
	n := 2 + int(math.Abs(m.end-m.start)/(4*math.Pi/180))
	pts := make([]pt, n)
	for i := range pts {
		pts[i] = m.c.add(polar(m.start + (m.end-m.start)*float64(i)/float64(n-1)).mul(m.r))
	}
	return pts
}

func (p *Page) put(layer int, ms ...mark) { p.marks[layer] = append(p.marks[layer], ms...) }

func (p *Page) line(layer int, of string, pn pen, pts ...pt) {
	p.put(layer, poly{of: of, pts: slices.Clone(pts), pen: pn})
}

func (p *Page) area(layer int, of string, fill ink, pn pen, pts ...pt) {
	p.put(layer, poly{of: of, pts: slices.Clone(pts), closed: true, fill: fill, pen: pn})
}

func (p *Page) circle(layer int, of string, c pt, r float64, fill ink, pn pen) {
	p.put(layer, arc{of: of, c: c, r: r, end: 2 * math.Pi, fill: fill, pen: pn})
}

// text writes s with its left end, middle or right end at x (align 0, 0.5, 1).
func (p *Page) text(of string, at pt, align, size float64, bold bool, in ink, s string) {
	s = clean(s)
	at.x -= align * width(s, size, bold)
	p.put(words, label{of: of, at: at, size: size, bold: bold, ink: in, s: s})
}

// rect is a box on the page.
type rect struct{ x0, y0, x1, y1 float64 }

func around(pts ...pt) rect {
	r := rect{math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)}
	for _, p := range pts {
		r = rect{min(r.x0, p.x), min(r.y0, p.y), max(r.x1, p.x), max(r.y1, p.y)}
	}
	return r
}

func (r rect) w() float64          { return r.x1 - r.x0 }
func (r rect) h() float64          { return r.y1 - r.y0 }
func (r rect) grow(d float64) rect { return rect{r.x0 - d, r.y0 - d, r.x1 + d, r.y1 + d} }
func (r rect) corners() []pt {
	return []pt{{r.x0, r.y0}, {r.x1, r.y0}, {r.x1, r.y1}, {r.x0, r.y1}}
}

func (r rect) hits(q rect) bool {
	return r.x0 < q.x1 && q.x0 < r.x1 && r.y0 < q.y1 && q.y0 < r.y1
}

func (r rect) holds(q rect) bool {
	return r.x0 <= q.x0 && q.x1 <= r.x1 && r.y0 <= q.y0 && q.y1 <= r.y1
}

// nearest is the point of the box closest to p.
func (r rect) nearest(p pt) pt {
	return pt{min(max(p.x, r.x0), r.x1), min(max(p.y, r.y0), r.y1)}
}

// cut is the part of a segment inside the box, as shares of its length;
// ok is false when there is none (Liang and Barsky's clipping).
func (r rect) cut(a, b pt) (t0, t1 float64, ok bool) {
	if max(a.x, b.x) < r.x0 || min(a.x, b.x) > r.x1 || max(a.y, b.y) < r.y0 || min(a.y, b.y) > r.y1 {
		return 0, 0, false // most are this far off
	}
	t0, t1 = 0, 1
	d := b.sub(a)
	for _, e := range [4][2]float64{{-d.x, a.x - r.x0}, {d.x, r.x1 - a.x}, {-d.y, a.y - r.y0}, {d.y, r.y1 - a.y}} {
		switch {
		case e[0] == 0 && e[1] < 0:
			return 0, 0, false
		case e[0] < 0:
			t0 = max(t0, e[1]/e[0])
		case e[0] > 0:
			t1 = min(t1, e[1]/e[0])
		}
	}
	return t0, t1, t0 < t1
}

// faces are the two fonts of a sheet, the Go fonts by Bigelow & Holmes.
// The files are part of the program, so parsing them can not fail.
var (
	files = [2][]byte{goregular.TTF, gobold.TTF}
	faces = [2]*sfnt.Font{must(sfnt.Parse(goregular.TTF)), must(sfnt.Parse(gobold.TTF))}
)

func must(f *sfnt.Font, err error) *sfnt.Font {
	if err != nil {
		panic(err)
	}
	return f
}

func weight(bold bool) int {
	if bold {
		return 1
	}
	return 0
}

// width of a text in the unit of size, without kerning: the PDF writer knows
// none either.
func width(s string, size float64, bold bool) float64 {
	f := faces[weight(bold)]
	em := fixed.I(int(f.UnitsPerEm()))
	var buf sfnt.Buffer
	var sum fixed.Int26_6
	for _, r := range s {
		a, _ := f.GlyphAdvance(&buf, glyph(f, &buf, r), em, font.HintingNone)
		sum += a
	}
	return float64(sum) / float64(em) * size
}

// glyph of r, or the replacement character's when the font has no picture of
// r. The SVG keeps r: the reader's machine may have a font that does.
func glyph(f *sfnt.Font, buf *sfnt.Buffer, r rune) sfnt.GlyphIndex {
	g, err := f.GlyphIndex(buf, r)
	if err != nil || g == 0 {
		g, _ = f.GlyphIndex(buf, unicode.ReplacementChar)
	}
	return g
}

// clean makes a text one line of what XML and a reader can take: control and
// format characters (which may turn text around) become a space.
func clean(s string) string {
	return strings.Join(strings.FieldsFunc(strings.ToValidUTF8(s, string(unicode.ReplacementChar)), func(r rune) bool {
		return unicode.IsSpace(r) || unicode.Is(unicode.C, r) || r == 0xFFFE || r == 0xFFFF
	}), " ")
}

// short cuts the middle out of a text that is wider than w: names that
// differ only in their beginning or end stay apart.
func short(s string, w, size float64, bold bool) string {
	s = clean(s)
	if width(s, size, bold) <= w {
		return s
	}
	r := []rune(s)
	best := "…"
	for keep := 1; keep < len(r); keep++ {
		t := string(r[:(keep+1)/2]) + "…" + string(r[len(r)-keep/2:])
		if width(t, size, bold) > w {
			break
		}
		best = t
	}
	return best
}

// wrap breaks a text into lines no wider than w.
func wrap(s string, w, size float64, bold bool) []string {
	var lines []string
	line := ""
	for _, f := range strings.Fields(clean(s)) {
		f = short(f, w, size, bold)
		if t := strings.TrimSpace(line + " " + f); width(t, size, bold) <= w {
			line = t
			continue
		}
		lines = append(lines, line)
		line = f
	}
	if line == "" {
		return lines
	}
	return append(lines, line)
}
