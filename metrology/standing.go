package metrology

import (
	"fmt"
	"time"
)

// Use says whether a load cell may be used.
type Use string

// Usable: nothing is known against it. Overridden: out of date, and a named
// person answers for it with a wider uncertainty. OutOfDate: nobody does. Held:
// past its capacity, until its zero was checked and it was examined. Out: past
// what does it no lasting harm, and no word brings it back.
const (
	Usable     Use = "usable"
	Overridden Use = "overridden"
	OutOfDate  Use = "out of date"
	Held       Use = "held"
	Out        Use = "out"
)

// Wear is what is known of a cell on a day. A zero time or force is one that
// is not stated.
type Wear struct {
	On, Due                time.Time
	Peak                   float64 // greatest force it bore, N
	Capacity, SafeOverload float64
	ZeroChecked, Examined  bool // since that peak
	Override               *Override
}

// An Override is the word of a named person.
type Override struct{ By, Why string }

// A Standing is whether a cell may be used, and why.
type Standing struct {
	Use Use
	Why string
}

// Standing judges a cell; the gravest reason is the one given. More than the
// safe overload puts it out. More than the capacity holds it until its zero was
// checked and it was examined, whatever anybody says. The rules are common
// practice, no source; that an overload ends a calibration is in ISO 376 (from
// memory).
func (w Wear) Standing() Standing {
	switch {
	case w.SafeOverload > 0 && w.Peak > w.SafeOverload:
		return Standing{Out, fmt.Sprintf("it bore %.4g kN, past its safe overload of %.4g kN: out of service, and no override", w.Peak/1000, w.SafeOverload/1000)}
	case w.Peak > w.Capacity && !(w.ZeroChecked && w.Examined):
		return Standing{Held, fmt.Sprintf("it bore %.4g kN, past its capacity of %.4g kN: held until its zero was checked and it was examined", w.Peak/1000, w.Capacity/1000)}
	case w.Due.IsZero() || !w.On.After(w.Due):
		return Standing{Usable, ""}
	case w.Override != nil && w.Override.By != "" && w.Override.Why != "":
		return Standing{Overridden, fmt.Sprintf("its calibration was due on %s; used on the word of %s (%s), its uncertainty widened by the drift since",
			w.Due.Format(time.DateOnly), w.Override.By, w.Override.Why)}
	}
	return Standing{OutOfDate, fmt.Sprintf("its calibration was due on %s; only a named person can let it be used, with its uncertainty widened", w.Due.Format(time.DateOnly))}
}
