package line

import "bytes"

// Ending is how a line ends on the wire.
type Ending int

// Break ends a line with CR, LF or both. Framed puts it between STX and ETX;
// what stands outside is noise.
const (
	Break Ending = iota
	Framed
)

const (
	stx, etx = 0x02, 0x03

	// MostLine is how long a line may be. Indicators send some thirty
	// characters.
	MostLine = 256
)

// Splitter cuts a stream of bytes into lines. After noise it finds its feet
// again at the next line.
type Splitter struct {
	Ending Ending

	line  []byte
	found bool // Framed: STX was seen; Break: a line began in sight of us
	long  bool // the line in hand is longer than may be; the rest of it is dropped
}

// Feed takes bytes and calls good for each whole line, and bad for what was
// none. Empty lines are passed over. So is what came before the first end of a
// line: it may have lost its leading digits to our coming in late.
func (s *Splitter) Feed(data []byte, good, bad func(line string)) {
	for _, c := range data {
		switch {
		case s.Ending == Framed && c == stx:
			if s.found || len(s.line) > 0 {
				s.flush(bad)
			}
			s.found = true
		case s.Ending == Framed && c == etx:
			if s.found && !s.long {
				s.flush(good)
			} else {
				s.flush(bad)
			}
			s.found = false
		case s.Ending == Break && (c == '\r' || c == '\n'):
			switch {
			case !s.found:
				s.line = s.line[:0]
			case s.long:
				s.flush(bad)
			default:
				s.flush(good)
			}
			s.found, s.long = true, false
		case len(s.line) == MostLine:
			s.long = true
		default:
			s.line = append(s.line, c)
		}
	}
}

func (s *Splitter) flush(tell func(string)) {
	if len(bytes.TrimSpace(s.line)) > 0 {
		tell(string(s.line))
	}
	s.line, s.long = s.line[:0], false
}
