package draw

import (
	"io"
	"math"
	"slices"
	"strings"
	"time"
	"unicode"

	"codeberg.org/go-pdf/fpdf"
	"golang.org/x/image/font/sfnt"
)

// printed is the date inside every PDF. The sheet's own date stands in its
// title block; a clock here would make equal sheets differ.
var printed = time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC)

// PDF writes the page with its fonts embedded, at true size: printed at
// 100 % the scales of the views hold.
func (p *Page) PDF(w io.Writer) error {
	f := NewPDF(p.title, p.w, p.h)
	f.AddPage()
	if err := p.Onto(f, 0, 0, 1); err != nil {
		return err
	}
	return f.Output(w)
}

// NewPDF is a document without pages, w by h mm, with the fonts of a sheet
// embedded as "go" and no clock in it.
func NewPDF(title string, w, h float64) *fpdf.Fpdf {
	f := fpdf.NewCustom(&fpdf.InitType{UnitStr: "mm", Size: fpdf.SizeType{Wd: w, Ht: h}})
	f.SetCreationDate(printed)
	f.SetModificationDate(printed)
	f.SetCatalogSort(true)
	f.SetProducer("Plumbhook", true)
	f.SetTitle(Printable(title, false), true)
	f.SetAutoPageBreak(false, 0)
	for i, style := range []string{"", "B"} {
		f.AddUTF8FontFromBytes("go", style, slices.Clone(files[i])) // fpdf writes into the slice
	}
	return f
}

// Onto draws the page into a document of NewPDF, its upper left corner at x, y
// mm, k times its size.
func (p *Page) Onto(f *fpdf.Fpdf, x, y, k float64) error {
	if p.err != nil {
		return p.err
	}
	f.TransformBegin()
	f.TransformTranslate(x, y)
	f.TransformScaleXY(100*k, 0, 0)
	f.SetLineJoinStyle("round")
	for _, layer := range p.marks {
		for _, m := range layer {
			m.(interface{ pdf(*fpdf.Fpdf) }).pdf(f)
		}
	}
	f.SetDashPattern(nil, 0)
	f.TransformEnd()
	f.SetFont("go", "", 1) // fpdf leaves out a font it takes to be set, and the one set here has ended
	return f.Error()
}

// Size of the page in mm.
func (p *Page) Size() (w, h float64) { return p.w, p.h }

// Printable is s on one line, with what the fonts of a sheet cannot draw
// replaced.
func Printable(s string, bold bool) string { return drawn(weight(bold), clean(s)) }

func (m poly) pdf(f *fpdf.Fpdf) {
	style := m.pen.pdf(f, m.fill)
	if style == "" {
		return
	}
	f.MoveTo(m.pts[0].x, m.pts[0].y)
	for _, q := range m.pts[1:] {
		f.LineTo(q.x, q.y)
	}
	if m.closed {
		f.ClosePath()
	}
	f.DrawPath(style)
}

func (m arc) pdf(f *fpdf.Fpdf) {
	if style := m.pen.pdf(f, m.fill); style != "" {
		deg := 180 / math.Pi
		f.Arc(m.c.x, m.c.y, m.r, m.r, 0, m.start*deg, m.end*deg, style)
	}
}

func (m label) pdf(f *fpdf.Fpdf) {
	c := rgb[m.ink]
	f.SetTextColor(int(c[0]), int(c[1]), int(c[2]))
	f.SetFont("go", []string{"", "B"}[weight(m.bold)], m.size*72/25.4)
	f.Text(m.at.x, m.at.y, drawn(weight(m.bold), m.s))
}

// pdf sets colours and line, and gives fpdf's word for fill and stroke.
func (p pen) pdf(f *fpdf.Fpdf, fill ink) (style string) {
	if fill != none {
		c := rgb[fill]
		f.SetFillColor(int(c[0]), int(c[1]), int(c[2]))
		style = "F"
	}
	if p.width > 0 {
		c := rgb[p.ink]
		f.SetDrawColor(int(c[0]), int(c[1]), int(c[2]))
		f.SetLineWidth(p.width)
		f.SetDashPattern(p.dash, 0)
		style += "D"
	}
	return style
}

// drawn is s with what the font can not draw replaced.
func drawn(face int, s string) string {
	var buf sfnt.Buffer
	missing := glyph(faces[face], &buf, unicode.ReplacementChar)
	return strings.Map(func(r rune) rune {
		if glyph(faces[face], &buf, r) == missing {
			return unicode.ReplacementChar
		}
		return r
	}, s)
}
