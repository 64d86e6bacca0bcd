// Package intake ties what comes off the wire to the channels of a lift.
//
// A channel map (Read) says which wire address is which channel, in which
// unit, on which cell. Each wire format has a package of its own below this
// one; they turn what they hear into frames and hand these to a Sink. A Tally
// between them counts, per gateway and per channel, what came, what was
// garbled, what is missing, and how far the gateway's clock is off.
//
// What cannot be read is counted and shown. It is never fatal and never a
// reading: a channel that nothing sensible comes from goes silent.
package intake

import (
	"context"
	"strings"
	"unicode"
	"unicode/utf8"

	"plumbhook/reading"
)

// A Sink takes frames. When Put returns nil the frame is kept for good, and
// the sender may be told so; on an error the sender is to send it again, if it
// can. Neither side changes the frame afterwards.
type Sink interface {
	Put(ctx context.Context, f *reading.Frame) error
}

// SinkFunc is a function as a Sink.
type SinkFunc func(context.Context, *reading.Frame) error

// Put calls the function.
func (s SinkFunc) Put(ctx context.Context, f *reading.Frame) error { return s(ctx, f) }

// A Link hears how the connection to a gateway does, apart from its frames.
type Link interface {
	Up(gateway string)
	Down(gateway string, why error)
	// Refused is an answer that is no value: a Modbus exception, a wrong
	// password.
	Refused(gateway, what string)
}

const (
	mostLine  = 200 // characters of what was garbled, in a frame
	mostLines = 50  // of them in a frame
)

// Printable is text off the wire made fit to be shown: of bounded length, with
// dots for what is not text.
func Printable(raw string) string {
	var b strings.Builder
	n := 0
	for _, r := range raw {
		if n++; n > mostLine {
			b.WriteString("...")
			break
		}
		if r == utf8.RuneError || !unicode.IsPrint(r) {
			r = '.'
		}
		b.WriteRune(r)
	}
	return b.String()
}

// Garble adds a line to what could not be read of a frame: why, and what came.
// A frame full of noise keeps the first lines and says that there were more.
func Garble(f *reading.Frame, why, raw string) {
	switch n := len(f.Garbled); {
	case n < mostLines-1:
		if raw != "" {
			why += ": " + raw
		}
		f.Garbled = append(f.Garbled, Printable(why))
	case n == mostLines-1:
		f.Garbled = append(f.Garbled, "more of this kind")
	}
}
