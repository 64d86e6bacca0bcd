package cli

import (
	"strconv"
	"strings"
	"unicode"

	"golang.org/x/text/width"

	"plumbhook/quantity"
)

// columns is how wide text is set: what fits any terminal, and a printed page.
const columns = 80

// printable replaces what could steer a terminal or turn the reading
// direction: a lift file may come from anywhere.
func printable(s string) string {
	return strings.Map(func(r rune) rune {
		if r != '\n' && (unicode.IsControl(r) || unicode.Is(unicode.Cf, r)) {
			return unicode.ReplacementChar
		}
		return r
	}, s)
}

// cells is how many columns of a terminal a text takes: none for a mark that
// joins the letter before it, two for a wide East Asian letter.
func cells(s string) int {
	n := 0
	for _, r := range s {
		switch k := width.LookupRune(r).Kind(); {
		case unicode.In(r, unicode.Mn, unicode.Me):
		case k == width.EastAsianWide || k == width.EastAsianFullwidth:
			n += 2
		default:
			n++
		}
	}
	return n
}

// wrap breaks a text at spaces. The first line stands behind first, the
// others behind as many spaces as indent says.
func wrap(first, text string, indent int) string {
	var b strings.Builder
	b.WriteString(first)
	n, fresh := cells(first), true
	for _, word := range strings.Fields(text) {
		k := cells(word)
		if !fresh && n+1+k > columns {
			b.WriteString("\n" + strings.Repeat(" ", indent))
			n, fresh = indent, true
		}
		if !fresh {
			b.WriteByte(' ')
			n++
		}
		b.WriteString(word)
		n, fresh = n+k, false
	}
	return b.String()
}

// fold breaks a name into lines of at most width columns, at spaces where it
// has them.
func fold(name string, width int) string {
	var b strings.Builder
	n := 0
	for i, word := range strings.Fields(name) {
		switch {
		case i > 0 && n+1+cells(word) <= width:
			b.WriteByte(' ')
			n++
		case i > 0:
			b.WriteByte('\n')
			n = 0
		}
		for _, r := range word {
			k := cells(string(r))
			if n+k > width {
				b.WriteByte('\n')
				n = 0
			}
			b.WriteRune(r)
			n += k
		}
	}
	return b.String()
}

// grid sets rows in columns. A letter of align stands for each column: l left,
// r right, d by the decimal point.
type grid struct {
	align string
	rows  [][]string
}

// row adds a row; a cell of several lines goes on in rows of its own.
func (g *grid) row(cells ...string) {
	for more := true; more; {
		more = false
		rest := make([]string, len(cells))
		for k, s := range cells {
			if first, next, ok := strings.Cut(s, "\n"); ok {
				cells[k], rest[k], more = first, next, true
			}
		}
		g.rows = append(g.rows, cells)
		cells = rest
	}
}

// String sets the rows, two spaces between columns, each line behind indent
// spaces and without spaces at its end.
func (g *grid) String() string { return g.indented(0) }

func (g *grid) indented(indent int) string {
	n := len(g.align)
	wide, whole, part := make([]int, n), make([]int, n), make([]int, n)
	for _, r := range g.rows {
		for k, s := range r {
			if g.align[k] == 'd' {
				a, b := point(s)
				whole[k], part[k] = max(whole[k], cells(a)), max(part[k], cells(b))
			}
			wide[k] = max(wide[k], cells(s), whole[k]+part[k])
		}
	}
	var out strings.Builder
	for _, r := range g.rows {
		line := strings.Repeat(" ", indent)
		for k, s := range r {
			if k > 0 {
				line += "  "
			}
			left, right := 0, 0
			switch g.align[k] {
			case 'l':
				right = wide[k] - cells(s)
			case 'd':
				if _, b := point(s); number(s) {
					right = part[k] - cells(b)
				}
				left = wide[k] - cells(s) - right
			default:
				left = wide[k] - cells(s)
			}
			line += strings.Repeat(" ", left) + s + strings.Repeat(" ", right)
		}
		out.WriteString(strings.TrimRight(line, " ") + "\n")
	}
	return out.String()
}

func number(s string) bool {
	_, err := strconv.ParseFloat(s, 64)
	return err == nil
}

// point parts a number before its decimal point; text that is none has no
// part behind.
func point(s string) (whole, part string) {
	if i := strings.IndexByte(s, '.'); i >= 0 && number(s) {
		return s[:i], s[i:]
	}
	return s, ""
}

// rounding says to which side a shown number may err; show writes one.
type rounding = quantity.Rounding

var (
	nearest rounding = quantity.Nearest
	upward  rounding = quantity.Upward
	down    rounding = quantity.Down
	show             = quantity.Show
)

// percent writes a share, rounded up: what is over 100 % shows so.
func percent(u float64) string { return show(100*u, 10, upward) + " %" }
