// Package qr prints sheets of labels, each with a QR code and a few lines of
// text: A4, three labels across and eight down, 70 mm by 37 mm.
//
// The same labels give the same bytes.
package qr

import (
	"cmp"
	"image/color"
	"io"
	"slices"
	"strings"
	"time"
	"unicode"

	"codeberg.org/go-pdf/fpdf"
	"github.com/boombuler/barcode/qr"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/sfnt"

	"plumbhook/fault"
	"plumbhook/register"
)

// Label is one label.
type Label struct {
	Code  string // what the QR code says
	Title string
	Lines []Line
}

// Line is text below the title.
type Line struct {
	Text string
	Bold bool
}

// The sheet in mm. Its top and bottom half millimetre belong to no label.
const (
	across, down  = 3, 8
	width, height = 70.0, 37.0
	top           = 0.5
	inset         = 5.0 // of what is printed, from the label's edge: few printers reach the paper's
	side          = height - 2*inset
	quiet         = 4 // modules left blank around a code (ISO/IEC 18004, from memory)
)

// Sheet writes the labels as PDF.
func Sheet(w io.Writer, title string, labels []Label) error {
	f := fpdf.NewCustom(&fpdf.InitType{UnitStr: "mm", Size: fpdf.SizeType{Wd: 210, Ht: 297}})
	// A clock here would make equal sheets differ.
	f.SetCreationDate(time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC))
	f.SetModificationDate(time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC))
	f.SetCatalogSort(true)
	f.SetProducer("Plumbhook", true)
	f.SetTitle(title, true)
	f.SetAutoPageBreak(false, 0)
	for i, style := range styles {
		f.AddUTF8FontFromBytes("go", style, slices.Clone(fonts[i])) // fpdf writes into the slice
	}
	for i, l := range labels {
		n := i % (across * down)
		if n == 0 {
			f.AddPage()
			grid(f)
		}
		if err := draw(f, float64(n%across)*width, top+float64(n/across)*height, l); err != nil {
			return err
		}
	}
	return f.Output(w)
}

// grid draws where to cut.
func grid(f *fpdf.Fpdf) {
	f.SetDrawColor(200, 200, 200)
	f.SetLineWidth(0.1)
	for i := 1; i < across; i++ {
		f.Line(float64(i)*width, 0, float64(i)*width, 297)
	}
	for i := range down + 1 {
		f.Line(0, top+float64(i)*height, 210, top+float64(i)*height)
	}
}

// Draw puts the code that says s into a square of a page, its quiet zone
// included, with the upper left corner at x, y.
func Draw(f *fpdf.Fpdf, x, y, side float64, s string) error {
	code, err := qr.Encode(s, qr.M, qr.Auto)
	if err != nil {
		return fault.New(fault.TooLarge, "no QR code holds %q", s).Because(err).Fix("shorten it")
	}
	f.SetFillColor(0, 0, 0)
	n := code.Bounds().Dx()
	m := side / float64(n+2*quiet)
	dark := func(col, row int) bool {
		return col < n && code.At(col, row) == color.Black
	}
	// Dark modules side by side are one bar: no hair lines between them.
	for row := range n {
		for col := 0; col < n; {
			from := col
			for ; dark(col, row); col++ {
			}
			if col > from {
				f.Rect(x+float64(from+quiet)*m, y+float64(row+quiet)*m, float64(col-from)*m, m, "F")
			}
			col++
		}
	}
	return nil
}

func draw(f *fpdf.Fpdf, x, y float64, l Label) error {
	if err := Draw(f, x+inset, y+inset, side, l.Code); err != nil {
		return err
	}
	left := x + inset + side
	room := width - 2*inset - side
	at := y + inset + 4
	put := func(s string, bold bool, size float64) {
		at += fit(f, left, at, room, s, bold, size)
	}
	put(l.Title, true, 13)
	for _, line := range l.Lines {
		put(line.Text, line.Bold, 8)
	}
	return nil
}

// smallest is the type in points below which nobody reads a label.
const smallest = 4.5

// fit prints a text, in type as small as the room asks for and, at the
// smallest, on a second line. It gives the height used.
func fit(f *fpdf.Fpdf, x, y, room float64, s string, bold bool, size float64) float64 {
	face := 0
	if bold {
		face = 1
	}
	s = printable(face, s)
	wide := func(s string) float64 {
		f.SetFont("go", styles[face], size)
		return f.GetStringWidth(s)
	}
	if w := wide(s); w > room {
		size = max(smallest, size*room/w)
	}
	leading := size * 25.4 / 72 * 1.25
	used := 0.0
	rest := []rune(s)
	for line := 0; len(rest) > 0; line++ {
		n := len(rest)
		for n > 1 && wide(string(rest[:n])) > room+1e-6 {
			n--
		}
		part := string(rest[:n])
		if line == 1 && n < len(rest) { // whatever is longer stands on the register
			part, n = string(rest[:n-1])+"…", len(rest)
		}
		f.SetTextColor(0, 0, 0)
		f.Text(x, y+used, part)
		used += leading
		rest = rest[n:]
	}
	return used
}

var (
	styles = [2]string{"", "B"}
	fonts  = [2][]byte{goregular.TTF, gobold.TTF}
	// The files are part of the program, so parsing them cannot fail.
	faces = [2]*sfnt.Font{must(sfnt.Parse(goregular.TTF)), must(sfnt.Parse(gobold.TTF))}
)

func must(f *sfnt.Font, err error) *sfnt.Font {
	if err != nil {
		panic(err)
	}
	return f
}

// printable is s with what the font cannot draw replaced.
func printable(face int, s string) string {
	var buf sfnt.Buffer
	return strings.Map(func(r rune) rune {
		if g, err := faces[face].GlyphIndex(&buf, r); err != nil || g == 0 {
			return unicode.ReplacementChar
		}
		return r
	}, s)
}

// Gear is the label of an item.
func Gear(it *register.Item) Label {
	l := Label{Code: "plumbhook:gear:" + it.Serial, Title: it.Serial, Lines: []Line{{Text: it.Kind}}}
	if it.Rating != nil {
		l.Lines = append(l.Lines, Line{Text: "WLL " + it.Rating.Text, Bold: true})
	} else {
		l.Lines = append(l.Lines, Line{Text: "WLL not on record: read the tag"})
	}
	l.Lines = append(l.Lines, Line{Text: "examine by " + cmp.Or(string(it.ExamineBy), "unknown")})
	if it.CalibrateBy != "" {
		l.Lines = append(l.Lines, Line{Text: "calibrate by " + string(it.CalibrateBy)})
	}
	return l
}
