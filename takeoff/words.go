package takeoff

import (
	"strconv"
	"strings"

	"plumbhook/fault"
)

// words walks over a text file word by word and knows the line it is on.
type words struct {
	text string // what is left
	word string // the word just read, empty at the end
	line int
}

// next reads a word, over line breaks.
func (w *words) next() bool {
	for {
		if w.nextOnLine() {
			return true
		}
		if w.text == "" {
			return false
		}
		w.text = w.text[1:] // the line break
		w.line++
	}
}

// nextOnLine reads a word unless the line ends first. A backslash at the end
// of a line continues it.
func (w *words) nextOnLine() bool {
	w.word = ""
	for i := 0; i < len(w.text); i++ {
		switch c := w.text[i]; {
		case c == '\n':
			w.text = w.text[i:]
			return false
		case c == '\\' && (strings.HasPrefix(w.text[i+1:], "\n") || strings.HasPrefix(w.text[i+1:], "\r\n")):
			i += strings.IndexByte(w.text[i:], '\n')
			w.line++
		case c != ' ' && c != '\t' && c != '\r' && c != '\f' && c != '\v':
			w.text = w.text[i:]
			end := strings.IndexAny(w.text, " \t\r\n\f\v")
			if end < 0 {
				end = len(w.text)
			}
			w.word, w.text = w.text[:end], w.text[end:]
			return true
		}
	}
	w.text = ""
	return false
}

// skipLine leaves out the rest of the line.
func (w *words) skipLine() {
	if i := strings.IndexByte(w.text, '\n'); i >= 0 {
		w.text = w.text[i:]
		return
	}
	w.text = ""
}

// skipStatement leaves out the rest of the line and of those that continue it.
func (w *words) skipStatement() {
	for w.nextOnLine() {
		if w.word[0] == '#' {
			w.skipLine()
		}
	}
}

// coordinates reads three finite numbers on one line.
func (w *words) coordinates() (p [3]float64, f *fault.Fault) {
	for k := range p {
		if !w.nextOnLine() {
			return p, w.fault(fault.Syntax, "a vertex of %d numbers", k)
		}
		v, err := strconv.ParseFloat(w.word, 64)
		if err != nil || !finite(v) {
			return p, w.fault(fault.Syntax, "%q is not a number", clip(w.word))
		}
		p[k] = v
	}
	return p, nil
}

// is compares the word just read; writers of STL differ in capitals.
func (w *words) is(due string) bool { return strings.EqualFold(w.word, due) }

// expect reads fixed words.
func (w *words) expect(due ...string) *fault.Fault {
	for _, d := range due {
		if !w.next() || !w.is(d) {
			return w.unexpected(d)
		}
	}
	return nil
}

// unexpected is the fault of a word other than the one due.
func (w *words) unexpected(due string) *fault.Fault {
	if w.word == "" {
		return w.fault(fault.Syntax, "the file ends where %s is due", due).Fix("the file is cut off; export it again")
	}
	return w.fault(fault.Syntax, "%q where %s is due", clip(w.word), due)
}

func (w *words) fault(code fault.Code, format string, args ...any) *fault.Fault {
	f := fault.New(code, format, args...)
	f.What = "line " + strconv.Itoa(w.line) + ": " + f.What
	return f
}

// clip keeps a quoted word short.
func clip(s string) string {
	if len(s) > 30 {
		return s[:30] + "..."
	}
	return s
}
