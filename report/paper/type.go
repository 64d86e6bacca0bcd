package paper

import (
	"regexp"
	"sort"
	"strings"

	"plumbhook/draw"
)

// font sets the type and gives the text as it can be printed.
func (s *Sheet) font(size float64, bold bool, text string) string {
	style := ""
	if bold {
		style = "B"
	}
	s.f.SetFont("go", style, size)
	s.f.SetTextColor(0, 0, 0)
	return draw.Printable(text, bold)
}

func (s *Sheet) put(x, base, size float64, bold bool, text string) {
	text = s.font(size, bold, text)
	s.f.Text(x, base, text)
}

func (s *Sheet) right(x, base, size float64, bold bool, text string) {
	s.put(x-s.width(text, size, bold), base, size, bold, text)
}

func (s *Sheet) width(text string, size float64, bold bool) float64 {
	return s.f.GetStringWidth(s.font(size, bold, text))
}

func (s *Sheet) rule(x0, y0, x1, y1, wide float64) {
	s.f.SetDrawColor(0, 0, 0)
	s.f.SetLineWidth(wide)
	s.f.Line(x0, y0, x1, y1)
}

var bound = regexp.MustCompile(`^[\p{L}°/²³]{1,3}[,;.)]?$|^%[,;.)]?$`)

// pieces are the words of a text; what makes sense only together stays so: a
// number and its unit, a shape and the word beside it.
func pieces(text string) (list []string) {
	words := strings.Fields(text)
	for i := 0; i < len(words); i++ {
		p := words[i]
		if strings.ContainsAny(p, "■▲●□≥±") && len([]rune(p)) == 1 && i+1 < len(words) {
			i++
			p += " " + words[i]
		}
		if last := p[len(p)-1]; '0' <= last && last <= '9' && i+1 < len(words) && bound.MatchString(words[i+1]) {
			i++
			p += " " + words[i]
		}
		list = append(list, p)
	}
	return list
}

// wrap breaks a text into lines no wider than w. A word that is wider by itself
// breaks where it has to; a line break in the text stays.
func (s *Sheet) wrap(text string, w, size float64, bold bool) (lines []string) {
	for _, part := range strings.Split(text, "\n") {
		now := ""
		for _, word := range pieces(draw.Printable(part, bold)) {
			if t := strings.TrimSpace(now + " " + word); s.width(t, size, bold) <= w {
				now = t
				continue
			}
			if now != "" {
				lines = append(lines, now)
			}
			now = word
			for s.width(now, size, bold) > w {
				r := []rune(now)
				if len(r) == 1 {
					break
				}
				n := max(1, sort.Search(len(r), func(n int) bool { return s.width(string(r[:n+1]), size, bold) > w }))
				lines = append(lines, string(r[:n]))
				now = string(r[n:])
			}
		}
		lines = append(lines, now)
	}
	return lines
}

// longest is the width of the longest word.
func (s *Sheet) longest(text string, size float64, bold bool) (w float64) {
	for _, word := range pieces(text) {
		w = max(w, s.width(word, size, bold))
	}
	return w
}

// short cuts the middle out of a text that is wider than w: for what stands in
// full elsewhere.
func (s *Sheet) short(text string, w, size float64) string {
	r := []rune(draw.Printable(text, false))
	for cut := 1; s.width(text, size, false) > w && cut < len(r); cut++ {
		text = string(r[:(len(r)-cut+1)/2]) + "…" + string(r[len(r)-(len(r)-cut)/2:])
	}
	return text
}

// lines puts lines of type down from y and gives where they end.
func (s *Sheet) lines(x, y, size float64, bold bool, lines []string) float64 {
	for _, l := range lines {
		y += size * mmPerPt * line
		s.put(x, y-0.28*size*mmPerPt, size, bold, l)
	}
	return y
}

func tall(lines int, size float64) float64 { return float64(lines) * size * mmPerPt * line }
