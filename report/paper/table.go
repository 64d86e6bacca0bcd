package paper

import (
	"slices"
	"strings"
)

// Table is rows under a head that is repeated on every page.
type Table struct {
	Head []string
	// Align has a letter for each column: l left, r right, b bold and left,
	// t a box to tick behind the text, w a cell wide enough to write a number
	// in, W one for a sentence.
	Align string
	Rows  [][]string
	Bold  []bool  // rows in bold; nil: none
	Size  float64 // of type, pt; 0: the usual
}

// pad is what a cell leaves free above and below, side beside.
const (
	pad  = 0.9
	side = 1.4
)

// Table sets a table. Columns are as wide as what is in them asks for, rows as
// high; a row higher than the page goes on over it.
func (s *Sheet) Table(t Table) {
	size := t.Size
	if size == 0 {
		size = 8.2
	}
	wide := s.columns(&t, size)
	split := func(cells []string, bold bool) (out [][]string, most int) {
		for i, c := range cells {
			room := wide[i] - 2*side
			if t.Align[i] == 't' {
				room -= boxSide + 1
			}
			out = append(out, s.wrap(c, room, size, bold || t.Align[i] == 'b'))
			most = max(most, len(out[i]))
		}
		return out, most
	}
	row := func(cells [][]string, from, to int, bold bool) {
		x := margin
		for i, lines := range cells {
			b := bold || t.Align[i] == 'b'
			for k := from; k < min(to, len(lines)); k++ {
				y := s.y + pad + tall(k-from+1, size) - 0.28*size*mmPerPt
				if t.Align[i] == 'r' {
					s.right(x+wide[i]-side, y, size, b, lines[k])
				} else {
					s.put(x+side, y, size, b, lines[k])
				}
			}
			x += wide[i]
		}
	}
	head, headLines := split(t.Head, true)
	start := func() {
		row(head, 0, headLines, true)
		s.y += tall(headLines, size) + 2*pad
		s.rule(margin, s.y, s.w-margin, s.y, 0.5)
	}
	first := size * mmPerPt * line * 2
	s.Keep(tall(headLines, size) + 2*pad + first + 4)
	start()
	for n, cells := range t.Rows {
		bold := t.Bold != nil && t.Bold[n]
		lines, most := split(cells, bold)
		high := func(k int) float64 {
			h := tall(k, size) + 2*pad
			for i, c := range cells {
				switch {
				case t.Align[i] == 't':
					h = max(h, boxSide+2*pad+0.6)
				case c == "" && (t.Align[i] == 'w' || t.Align[i] == 'W'):
					h = max(h, 7.5) // a hand in a glove
				}
			}
			return h
		}
		if high(most) > s.Left() {
			s.page()
			start()
		}
		for from := 0; from < max(most, 1); {
			fits := max(1, int((s.Left()-2*pad)/tall(1, size)))
			to := min(most, from+fits)
			row(lines, from, to, bold)
			x := margin
			for i := range t.Head {
				if t.Align[i] == 't' {
					s.box(x+wide[i]-boxSide-pad, s.y+pad)
				}
				if a := t.Align[i]; a == 'w' || a == 'W' {
					s.rule(x, s.y, x, s.y+high(to-from), 0.12)
					s.rule(x+wide[i], s.y, x+wide[i], s.y+high(to-from), 0.12)
				}
				x += wide[i]
			}
			s.y += high(to - from)
			if from = to; from < most {
				s.page()
				start()
			} else if most == 0 {
				break
			}
		}
		s.rule(margin, s.y, s.w-margin, s.y, 0.12)
	}
	s.y += 3
}

// columns shares the width: what every column needs for its longest word, and
// the rest by what would fit on one line.
func (s *Sheet) columns(t *Table, size float64) []float64 {
	n := len(t.Head)
	least, whole := make([]float64, n), make([]float64, n)
	extra := func(i int) float64 {
		return map[byte]float64{'t': boxSide + 1}[t.Align[i]] + 2*side + 0.01 // a little, so that no rounding breaks a word
	}
	for k, cells := range slices.Concat([][]string{t.Head}, t.Rows) {
		for i, c := range cells {
			bold := k == 0 || t.Align[i] == 'b' || t.Bold != nil && t.Bold[k-1]
			least[i] = max(least[i], min(s.longest(c, size, bold), 0.3*s.room())+extra(i))
			for _, part := range strings.Split(c, "\n") {
				whole[i] = max(whole[i], s.width(part, size, bold)+extra(i))
			}
			if w, ok := map[byte]float64{'w': 20, 'W': 75}[t.Align[i]]; ok {
				least[i], whole[i] = max(least[i], w), max(whole[i], w)
			}
		}
	}
	sum := func(list []float64) (sum float64) {
		for _, v := range list {
			sum += v
		}
		return sum
	}
	wide := make([]float64, n)
	least0, whole0 := sum(least), sum(whole)
	for i := range wide {
		switch {
		case whole0 <= s.room():
			wide[i] = whole[i] * s.room() / whole0
		case least0 < s.room():
			wide[i] = least[i] + (s.room()-least0)*(whole[i]-least[i])/(whole0-least0)
		default:
			wide[i] = least[i] * s.room() / least0
		}
	}
	return wide
}
