package paper

import (
	"plumbhook/draw"
)

// Heading opens a section; it never stands alone at the foot of a page.
func (s *Sheet) Heading(text string) {
	lines := s.wrap(text, s.room(), 11.5, true)
	s.Keep(tall(len(lines), 11.5) + 28)
	s.y = s.lines(margin, s.y+1.5, 11.5, true, lines) + 1.2
}

// Text writes a paragraph.
func (s *Sheet) Text(text string) { s.paragraph(text, body, false) }

// Strong writes a paragraph in bold.
func (s *Sheet) Strong(text string) { s.paragraph(text, body, true) }

// Small writes a paragraph for whoever looks closely.
func (s *Sheet) Small(text string) { s.paragraph(text, small, false) }

// Large writes what has to be read at arm's length.
func (s *Sheet) Large(text string) { s.paragraph(text, 14, true) }

func (s *Sheet) paragraph(text string, size float64, bold bool) {
	for _, l := range s.wrap(text, s.room(), size, bold) {
		s.Keep(tall(1, size))
		s.y = s.lines(margin, s.y, size, bold, []string{l})
	}
	s.y += 1.2
}

// Points writes paragraphs, each behind a word that says what kind it is.
func (s *Sheet) Points(points [][2]string) { s.points(points, body) }

// LargePoints does so for arm's length.
func (s *Sheet) LargePoints(points [][2]string) { s.points(points, 13) }

func (s *Sheet) points(points [][2]string, size float64) {
	indent := 0.0
	for _, p := range points {
		indent = max(indent, s.width(p[0], size, true)+3)
	}
	indent = min(indent, s.room()/3)
	for _, p := range points {
		word := s.wrap(p[0], indent-1, size, true)
		text := s.wrap(p[1], s.room()-indent, size, false)
		for i := range max(len(word), len(text)) {
			s.Keep(tall(1, size))
			if i < len(word) {
				s.lines(margin, s.y, size, true, word[i:i+1])
			}
			if i < len(text) {
				s.lines(margin+indent, s.y, size, false, text[i:i+1])
			}
			s.y += tall(1, size)
		}
		s.y += 0.7
	}
	s.y += 0.8
}

// Loud writes white on black, as large as a verdict has to be.
func (s *Sheet) Loud(text string) { s.bar(text, 14) }

func (s *Sheet) bar(text string, size float64) {
	lines := s.wrap(text, s.room()-6, size, true)
	high := tall(len(lines), size) + 3
	s.Keep(high + 2)
	s.f.SetFillColor(0, 0, 0)
	s.f.Rect(margin, s.y, s.room(), high, "F")
	y := s.y + 1.2
	for _, l := range lines {
		y += tall(1, size)
		l = s.font(size, true, l)
		s.f.SetTextColor(255, 255, 255)
		s.f.Text(margin+3, y-0.28*size*mmPerPt, l)
	}
	s.y += high + 2.5
}

// Framed writes a paragraph in a thick frame: a state that is no stop.
func (s *Sheet) Framed(text string) {
	const size = 12.5
	lines := s.wrap(text, s.room()-6, size, true)
	high := tall(len(lines), size) + 3
	s.Keep(high + 2)
	s.f.SetDrawColor(0, 0, 0)
	s.f.SetLineWidth(0.8)
	s.f.Rect(margin+0.4, s.y+0.4, s.room()-0.8, high-0.8, "D")
	s.lines(margin+3, s.y+1.2, size, true, lines)
	s.y += high + 2.5
}

// Figure is a number to be read from a step away.
type Figure struct {
	Label, Value, Note string
	Loud               bool // white on black
}

// Figures puts figures side by side in boxes, at most so many in a row.
func (s *Sheet) Figures(across int, list []Figure) {
	for len(list) > 0 {
		n := min(across, len(list))
		row := list[:n]
		list = list[n:]
		wide := s.room() / float64(n)
		size := 31.0 - 2*float64(n)
		for _, f := range row {
			for size > 11 && s.width(f.Value, size, true) > wide-5 {
				size -= 0.5
			}
		}
		const inset = 2.2
		label, value, note := 0, 0, 0
		for _, f := range row {
			label = max(label, len(s.wrap(f.Label, wide-2*inset, body, true)))
			value = max(value, len(s.wrap(f.Value, wide-2*inset, size, true)))
			if f.Note != "" {
				note = max(note, len(s.wrap(f.Note, wide-2*inset, small+0.6, false)))
			}
		}
		high := tall(label, body) + tall(value, size) + tall(note, small+0.6) + 3
		s.Keep(high + 1)
		for i, f := range row {
			x := margin + float64(i)*wide
			if f.Loud {
				s.f.SetFillColor(0, 0, 0)
				s.f.Rect(x, s.y, wide, high, "F")
			} else {
				s.f.SetDrawColor(0, 0, 0)
				s.f.SetLineWidth(0.3)
				s.f.Rect(x, s.y, wide, high, "D")
			}
			at := s.y + 1
			for _, part := range []struct {
				text string
				size float64
				bold bool
				rows int
			}{{f.Label, body, true, label}, {f.Value, size, true, value}, {f.Note, small + 0.6, false, note}} {
				y := at
				if part.text != "" {
					for _, l := range s.wrap(part.text, wide-2*inset, part.size, part.bold) {
						y += tall(1, part.size)
						l = s.font(part.size, part.bold, l)
						if f.Loud {
							s.f.SetTextColor(255, 255, 255)
						}
						s.f.Text(x+inset, y-0.28*part.size*mmPerPt, l)
					}
				}
				at += tall(part.rows, part.size)
			}
		}
		s.y += high
	}
	s.y += 2.5
}

// Tick writes a box to tick, and what is ticked by it.
func (s *Sheet) Tick(text string) {
	lines := s.wrap(text, s.room()-7, body, false)
	s.Keep(tall(len(lines), body) + 1.5)
	s.box(margin+0.5, s.y+0.3)
	s.y = s.lines(margin+6.5, s.y, body, false, lines) + 1.5
}

const boxSide = 3.8

func (s *Sheet) box(x, y float64) {
	s.f.SetDrawColor(0, 0, 0)
	s.f.SetLineWidth(0.35)
	s.f.Rect(x, y, boxSide, boxSide, "D")
}

// Blanks leaves lines to write on, side by side, each with what belongs there
// under it.
func (s *Sheet) Blanks(labels ...string) {
	wide := s.room() / float64(len(labels))
	under := 0
	for _, l := range labels {
		under = max(under, len(s.wrap(l, wide-4, small, false)))
	}
	high := 9 + tall(under, small) + 1.5
	s.Keep(high)
	for i, l := range labels {
		x := margin + float64(i)*wide
		s.rule(x, s.y+8.5, x+wide-4, s.y+8.5, 0.25)
		s.lines(x, s.y+8.7, small, false, s.wrap(l, wide-4, small, false))
	}
	s.y += high
}

// Lines leaves so many ruled lines to write on.
func (s *Sheet) Lines(n int) {
	for range n {
		s.Keep(8)
		s.y += 8
		s.rule(margin, s.y, s.w-margin, s.y, 0.2)
	}
	s.y += 2
}

// Pictures puts drawings side by side at their true size, so that the scales on
// them hold; smaller only where they are wider than the page together.
func (s *Sheet) Pictures(list ...*draw.Page) {
	const gap = 3
	wide, high := -float64(gap), 0.0
	for _, p := range list {
		w, h := p.Size()
		wide, high = wide+w+gap, max(high, h)
	}
	k := min(1, s.room()/wide)
	s.Keep(high*k + 2)
	x := margin + (s.room()-wide*k)/2
	for _, p := range list {
		if s.err == nil {
			s.err = p.Onto(s.f, x, s.y, k)
		}
		w, _ := p.Size()
		x += (w + gap) * k
	}
	s.y += high*k + 2
}
