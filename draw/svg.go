package draw

import (
	"bytes"
	"encoding/xml"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
)

// SVG writes the page as a drawing whose text is text. Every text states its
// width, so that a reader without the Go fonts sees nothing collide; there
// are no styles, so that a strict content policy lets it through. data-of
// names what a mark shows.
func (p *Page) SVG(w io.Writer) error {
	if p.err != nil {
		return p.err
	}
	var b bytes.Buffer
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" width="%smm" height="%smm" viewBox="0 0 %s %s" font-family="Go, Arial, Helvetica, sans-serif" fill="none" stroke-linejoin="round" role="img">`+"\n",
		mm(p.w), mm(p.h), mm(p.w), mm(p.h))
	fmt.Fprintf(&b, "<title>%s</title>\n", escape(p.title))
	fmt.Fprintf(&b, `<rect width="%s" height="%s" fill="%s"/>`+"\n", mm(p.w), mm(p.h), hex(white))
	for _, layer := range p.marks {
		for _, m := range layer {
			m.(interface{ svg(*bytes.Buffer) }).svg(&b)
		}
	}
	b.WriteString("</svg>\n")
	_, err := w.Write(b.Bytes())
	return err
}

func (m poly) svg(b *bytes.Buffer) {
	at := make([]string, len(m.pts))
	for i, p := range m.pts {
		at[i] = mm(p.x) + "," + mm(p.y)
	}
	kind := "polyline"
	if m.closed {
		kind = "polygon"
	}
	fmt.Fprintf(b, `<%s points="%s"%s%s%s/>`+"\n", kind, strings.Join(at, " "), filled(m.fill), m.pen.svg(), dataOf(m.of))
}

func (m arc) svg(b *bytes.Buffer) {
	rest := filled(m.fill) + m.pen.svg() + dataOf(m.of)
	if m.full() {
		fmt.Fprintf(b, `<circle cx="%s" cy="%s" r="%s"%s/>`+"\n", mm(m.c.x), mm(m.c.y), mm(m.r), rest)
		return
	}
	large, sweep := 0, 0 // SVG sweeps clockwise as seen
	if math.Abs(m.end-m.start) > math.Pi {
		large = 1
	}
	if m.end < m.start {
		sweep = 1
	}
	a, z := m.c.add(polar(m.start).mul(m.r)), m.c.add(polar(m.end).mul(m.r))
	fmt.Fprintf(b, `<path d="M%s %sA%s %s 0 %d %d %s %s"%s/>`+"\n",
		mm(a.x), mm(a.y), mm(m.r), mm(m.r), large, sweep, mm(z.x), mm(z.y), rest)
}

func (m label) svg(b *bytes.Buffer) {
	bold := ""
	if m.bold {
		bold = ` font-weight="bold"`
	}
	fmt.Fprintf(b, `<text x="%s" y="%s" font-size="%s"%s textLength="%s" lengthAdjust="spacingAndGlyphs"%s%s>%s</text>`+"\n",
		mm(m.at.x), mm(m.at.y), mm(m.size), bold, mm(width(m.s, m.size, m.bold)), filled(m.ink), dataOf(m.of), escape(m.s))
}

func (p pen) svg() string {
	if p.width == 0 {
		return ""
	}
	s := fmt.Sprintf(` stroke="%s" stroke-width="%s"`, hex(p.ink), mm(p.width))
	if p.dash != nil {
		d := make([]string, len(p.dash))
		for i, v := range p.dash {
			d[i] = mm(v)
		}
		s += ` stroke-dasharray="` + strings.Join(d, " ") + `"`
	}
	return s
}

func filled(i ink) string {
	if i == none {
		return ""
	}
	return ` fill="` + hex(i) + `"`
}

func dataOf(s string) string {
	if s == "" {
		return ""
	}
	return ` data-of="` + escape(s) + `"`
}

func hex(i ink) string { return fmt.Sprintf("#%02x%02x%02x", rgb[i][0], rgb[i][1], rgb[i][2]) }

// mm writes a length with the thousandth of a millimetre as its last digit.
func mm(v float64) string {
	s := strings.TrimRight(strconv.FormatFloat(v, 'f', 3, 64), "0")
	if s = strings.TrimSuffix(s, "."); s == "-0" {
		return "0"
	}
	return s
}

func escape(s string) string {
	var b strings.Builder
	_ = xml.EscapeText(&b, []byte(s)) // a Builder never fails
	return b.String()
}
