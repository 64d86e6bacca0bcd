// Package fault is the one shape an error takes on its way to a person: what
// is wrong, where, and what to do about it.
//
// Every part of Plumbhook that can refuse something (a file, a quantity, a
// rig that cannot hang) returns a *Fault, or a List of them when several
// mistakes can be told at once. Code compares faults by Code, never by text.
package fault

import (
	"errors"
	"fmt"
	"sort"
	"strings"
)

// Code names a class of fault. Codes are stable: scripts and tests rely on
// them, texts may be reworded.
type Code string

// The classes of fault the leaves and the lift file use.
const (
	Syntax      Code = "syntax"      // not well-formed text (YAML, STL, CSV ...)
	UnknownKey  Code = "unknown-key" // a key the schema does not have
	Missing     Code = "missing"     // something needed is not there
	Type        Code = "type"        // a list where a text is due, and so on
	NoUnit      Code = "no-unit"     // a number where a quantity with a unit is due
	BadUnit     Code = "bad-unit"    // an unknown unit, or one of another dimension
	Ambiguous   Code = "ambiguous"   // more than one reading, for example a bare ton
	Range       Code = "range"       // a value that cannot be (negative mass, NaN ...)
	Reference   Code = "reference"   // a name that nothing bears
	Duplicate   Code = "duplicate"   // a name or key given twice
	Disagree    Code = "disagree"    // the same fact given twice with two values
	Unsupported Code = "unsupported" // a file version or feature this program lacks
	TooLarge    Code = "too-large"   // beyond a bound that protects the program
	OpenMesh    Code = "open-mesh"   // a surface that does not enclose a volume
	Path        Code = "path"        // a file path that leaves its folder, or cannot be read
	Rig         Code = "rig"         // a rig that cannot hang as described
	Undecided   Code = "undecided"   // statics cannot decide without a figure that is missing
	Internal    Code = "internal"    // a mistake of ours
)

// Pos is a place in an input file. Line and Column count from 1; zero means
// not known. Column counts characters, not bytes.
type Pos struct {
	File   string
	Line   int
	Column int
}

// String gives file:line:column, leaving out what is not known.
func (p Pos) String() string {
	var b strings.Builder
	b.WriteString(p.File)
	if p.Line > 0 {
		if b.Len() > 0 {
			b.WriteByte(':')
		}
		fmt.Fprintf(&b, "%d", p.Line)
		if p.Column > 0 {
			fmt.Fprintf(&b, ":%d", p.Column)
		}
	}
	return b.String()
}

// Fault is one thing that is wrong.
type Fault struct {
	Code   Code
	What   string // what is wrong, in the user's words, no trailing stop
	Where  string // the thing concerned (legs.west.length, channel, serial); may be empty
	Pos    Pos    // place in a file; may be zero
	Offset int    // character offset into the text being parsed, for callers that set Pos
	Do     string // what to do about it; may be empty
	Cause  error  // may be nil
}

// New makes a fault of a class with words for the user.
func New(code Code, format string, args ...any) *Fault {
	return &Fault{Code: code, What: fmt.Sprintf(format, args...)}
}

// At sets the place and returns the fault.
func (f *Fault) At(pos Pos) *Fault { f.Pos = pos; return f }

// In sets the thing concerned and returns the fault.
func (f *Fault) In(where string) *Fault { f.Where = where; return f }

// Fix sets what to do and returns the fault.
func (f *Fault) Fix(format string, args ...any) *Fault {
	f.Do = fmt.Sprintf(format, args...)
	return f
}

// Because sets the cause and returns the fault.
func (f *Fault) Because(err error) *Fault { f.Cause = err; return f }

// Error is one line: place, thing, what, what to do.
func (f *Fault) Error() string {
	var b strings.Builder
	if p := f.Pos.String(); p != "" {
		b.WriteString(p)
		b.WriteString(": ")
	}
	if f.Where != "" {
		b.WriteString(f.Where)
		b.WriteString(": ")
	}
	b.WriteString(f.What)
	if f.Cause != nil {
		fmt.Fprintf(&b, " (%v)", f.Cause)
	}
	if f.Do != "" {
		b.WriteString("; ")
		b.WriteString(f.Do)
	}
	return b.String()
}

// Unwrap gives the cause.
func (f *Fault) Unwrap() error { return f.Cause }

// List is several faults of one input, told together.
type List []*Fault

// Error gives one line per fault.
func (l List) Error() string {
	lines := make([]string, len(l))
	for i, f := range l {
		lines[i] = f.Error()
	}
	return strings.Join(lines, "\n")
}

// Err is nil for an empty list, else the list in the order of the file.
func (l List) Err() error {
	if len(l) == 0 {
		return nil
	}
	sort.SliceStable(l, func(i, j int) bool {
		a, b := l[i].Pos, l[j].Pos
		if a.Line != b.Line {
			return a.Line < b.Line
		}
		return a.Column < b.Column
	})
	return l
}

// Of finds every fault inside err, whatever wraps or joins them; an error that
// holds none of ours becomes one of class Internal.
func Of(err error) List {
	if err == nil {
		return nil
	}
	if l := inside(err); l != nil {
		return l
	}
	return List{{Code: Internal, What: err.Error()}}
}

func inside(err error) List {
	switch e := err.(type) {
	case nil:
		return nil
	case List:
		return e
	case *Fault:
		return List{e}
	case interface{ Unwrap() []error }:
		var all List
		for _, part := range e.Unwrap() {
			all = append(all, Of(part)...)
		}
		return all
	}
	return inside(errors.Unwrap(err))
}
