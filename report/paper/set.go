// Package paper sets sheets to be printed: a head with document number,
// revision, checksum and QR code, a foot with the cautions and "page x of y"
// on every page, and between them headings, text, large figures, tables,
// pictures, charts, boxes to tick and lines to write on.
//
// A sheet is a function that writes on a Sheet from top to bottom; Set calls it
// twice, since the first page has to say how many there are. What does not fit
// goes on the next page: tables repeat their head there, rows and pictures stay
// in one piece, long words break. Nothing is cut off.
//
// Sizes are millimetres, type is in points. Everything is black on white: a
// state is told by its word and by a shape, never by a colour. The same input
// gives the same bytes: there is no clock here.
package paper

import (
	"bytes"
	"cmp"
	"strings"

	"codeberg.org/go-pdf/fpdf"

	"plumbhook/draw"
	"plumbhook/internal/qr"
)

// Head is what stands on every page of a document.
type Head struct {
	Kind     string // what it is: Lift plan
	Title    string // what it is about
	Number   string // of the document; empty: a line to write it on
	Revision string
	Date     string // as it shall stand; empty: a line to write it on
	Source   string // what the checksum is of: lift file pump.yaml
	SHA256   string // hexadecimal
	Program  string // name and version of what made it
	Banner   string // white on black on every page: THE PLAN FAILS; usually empty
	Language Language
	Letter   bool   // 8 1/2 by 11 in instead of A4
	Across   bool   // the long side across
	Cautions string // in place of the usual ones
}

// The measures of a page, mm and pt.
const (
	margin   = 14.0
	codeSide = 25.0
	body     = 9.0
	small    = 7.2
	footRoom = 17.0 // above the bottom margin
	line     = 1.25 // of the size of type, from one line to the next
	mmPerPt  = 25.4 / 72
)

// Sheet is the document being written.
type Sheet struct {
	Head
	f     *fpdf.Fpdf
	w, h  float64
	y     float64 // where the next thing begins
	pages int     // of the whole document; 0 while they are counted
	err   error
}

// Set writes a document. Compose is called twice and has to write the same each
// time; the first error of a picture ends it.
func Set(h Head, compose func(*Sheet)) ([]byte, error) {
	w, tall := 210.0, 297.0
	if h.Letter {
		w, tall = 215.9, 279.4
	}
	if h.Across {
		w, tall = tall, w
	}
	h.Cautions = cmp.Or(h.Cautions, frame.Say(h.Language, "cautions"))
	pages := 0
	for {
		s := &Sheet{Head: h, w: w, h: tall, pages: pages}
		s.f = draw.NewPDF(h.Kind+": "+h.Title, w, tall)
		s.f.SetLang(string(cmp.Or(h.Language, English)))
		s.f.SetSubject(strings.TrimSpace(h.Number+" "+h.Revision), true)
		s.f.SetKeywords("SHA-256 "+h.SHA256, true)
		s.page()
		compose(s)
		if s.err != nil {
			return nil, s.err
		}
		if pages > 0 {
			var b bytes.Buffer
			err := s.f.Output(&b)
			return b.Bytes(), err
		}
		pages = s.f.PageNo()
	}
}

// page begins a page: head, foot, and the room between.
func (s *Sheet) page() {
	s.f.AddPage()
	first := s.f.PageNo() == 1
	s.y = margin
	if first {
		s.head()
	} else {
		s.put(margin, s.y+4, 10, true, s.Kind)
		if s.width(s.Kind, 10, true)+s.width(s.reference(), body, false) > s.room()-6 {
			s.y += 4.5
		}
		for i, l := range s.wrap(s.reference(), s.room(), body, false) {
			if i > 0 {
				s.y += 4
			}
			s.right(s.w-margin, s.y+4, body, false, l)
		}
		s.y += 6.5
		for _, l := range s.wrap(s.Title, s.room(), body, false) {
			s.put(margin, s.y+2.5, body, false, l)
			s.y += body * mmPerPt * line
		}
	}
	s.y += 1
	s.rule(margin, s.y, s.w-margin, s.y, 0.5)
	s.y += 3
	if s.Banner != "" {
		s.bar(s.Banner, 13)
	}
	s.foot()
}

// reference names document and revision on one line.
func (s *Sheet) reference() string {
	return frame.Say(s.Language, "number") + " " + cmp.Or(s.Number, "________") + " · " +
		frame.Say(s.Language, "revision") + " " + cmp.Or(s.Revision, frame.Say(s.Language, "none"))
}

// Code is what the QR code of the head says.
func (h *Head) Code() string {
	return "plumbhook:sheet:" + h.Number + ":" + h.Revision + ":" + h.SHA256
}

func (s *Sheet) head() {
	top, room := s.y, s.room()-codeSide-3
	if s.err == nil {
		s.err = qr.Draw(s.f, s.w-margin-codeSide+1.5, top-2.5, codeSide, s.Code())
	}
	for _, l := range s.wrap(strings.ToUpper(s.Kind), room, 17, true) {
		s.put(margin, s.y+5.5, 17, true, l)
		s.y += 7.4
	}
	for _, l := range s.wrap(s.Title, room, 12, true) {
		s.put(margin, s.y+4, 12, true, l)
		s.y += 5.3
	}
	s.y += 1.5
	x := margin
	for _, f := range [][2]string{{"number", s.Number}, {"revision", cmp.Or(s.Revision, frame.Say(s.Language, "none"))}, {"date", s.Date}} {
		wide := room * map[string]float64{"number": 0.5, "revision": 0.22, "date": 0.28}[f[0]]
		s.put(x, s.y+2.4, small, false, frame.Say(s.Language, f[0]))
		if f[1] == "" {
			s.rule(x, s.y+7.3, x+wide-4, s.y+7.3, 0.2)
		}
		for i, l := range s.wrap(f[1], wide-2, 10.5, true) {
			s.put(x, s.y+7+4.6*float64(i), 10.5, true, l)
		}
		x += wide
	}
	lines := max(len(s.wrap(s.Number, room*0.5-2, 10.5, true)), len(s.wrap(s.Revision, room*0.22-2, 10.5, true)), 1)
	s.y += 4 + 4.6*float64(lines)
	s.y = max(s.y, top+codeSide-4)
}

func (s *Sheet) foot() {
	base := s.h - margin
	y := base - footRoom + 3
	s.rule(margin, y, s.w-margin, y, 0.3)
	y += 0.8
	for _, l := range s.wrap(s.Cautions, s.room(), small, true) {
		y += small * mmPerPt * line
		s.put(margin, y, small, true, l)
	}
	y = base - 0.5
	of := frame.Say(s.Language, "page", s.f.PageNo(), s.pages)
	s.right(s.w-margin, y, small+1, true, of)
	s.put(margin, y-3, small-0.7, false, s.short(s.Source, s.room()*0.7, small-0.7))
	s.put(margin, y, small-0.7, false, "SHA-256 "+s.SHA256)
	s.right(s.w-margin, y-3.4, small-0.7, false, frame.Say(s.Language, "made by")+" "+s.Program)
}

// room is the width between the margins.
func (s *Sheet) room() float64 { return s.w - 2*margin }

// bottom is where the foot begins.
func (s *Sheet) bottom() float64 { return s.h - margin - footRoom }

// Left is the height that is left on the page.
func (s *Sheet) Left() float64 { return s.bottom() - s.y }

// Keep begins a new page where less than so much height is left.
func (s *Sheet) Keep(height float64) {
	if height > s.Left() {
		s.page()
	}
}

// Page is the number of the page being written.
func (s *Sheet) Page() int { return s.f.PageNo() }

// Break begins a new page.
func (s *Sheet) Break() { s.page() }

// Space leaves height free, but none at the top of a page.
func (s *Sheet) Space(height float64) { s.y = min(s.y+height, s.bottom()) }
